"""What a picture is."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stager.report.figures import backend, palette
from stager.report.table import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A figure with its twins for those who do not see it.

    name: file stem and id; title; alt: what it shows, in words; caption: how to read it; twin: a table of the same
    numbers; paint: draws it with matplotlib; drawn: SVG of its own, where it is not matplotlib's; wide: asks for the
    whole width of a page.
    """

    name: str
    title: str
    alt: str
    caption: str
    twin: Table
    paint: Callable[[], Figure]
    drawn: Callable[[], str] | None = None
    wide: bool = False

    def figure(self) -> Figure:
        """As a matplotlib figure, to be changed at will."""
        with backend.styled(self.name):
            return self.paint()

    def svg(self) -> str:
        """As SVG that stands alone or in a page, equal for equal input; its colours are fixed."""
        own = backend.svg(self.figure(), self.name) if self.drawn is None else self.drawn()
        return own.replace("<svg ", f'<svg role="img" aria-label="{html.escape(self.alt)}" ', 1)

    def png(self) -> bytes:
        """As PNG."""
        return backend.png(self.figure(), self.name)

    def save(self, directory: str | Path, *, force: bool = False) -> tuple[Path, Path]:
        """Write NAME.svg and NAME.png to a directory. force: replace files that this program did not write.

        Raises InputError where that is not possible.
        """
        from stager.files import write_all

        svg, png = (Path(directory) / f"{self.name}.{kind}" for kind in ("svg", "png"))
        drawn = f'<?xml version="1.0" encoding="utf-8"?>\n{self.svg()}\n'
        write_all({svg: drawn.encode(), png: self.png()}, force=force)
        return svg, png

    def __repr__(self) -> str:
        return f"{self.title}. {self.alt}"

    def _repr_svg_(self) -> str:
        return self.svg()

    def themed(self) -> str:
        """As SVG whose colours follow a page's light and dark styles."""
        return palette.themed(self.svg())

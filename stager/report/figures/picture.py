"""The class Picture, and how matplotlib draws and writes figures; it is imported when the first figure is drawn.

Figures are repeatable to the byte: ids come from a fixed salt, and no date is written.
"""

from __future__ import annotations

import html
import io
import re
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stager.report.answer import Table
from stager.report.figures import palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 3.7
"""Width of a figure [inch]: readable on a telephone, three side by side on a screen and on paper."""
HEIGHT = 2.45
"""Height of a figure [inch]."""
LEFT = 0.56
"""Margin left of the axes [inch]; margins are fixed, as fitting them would draw every figure twice."""
RIGHT = 0.12
"""Margin right of the axes [inch]."""
BOTTOM = 0.44
"""Margin below the axes [inch]."""
TOP = 0.12
"""Margin above the axes [inch]."""
LETTER = 0.068
"""Width of a letter of a tick label [inch]."""

STYLE: dict[str, Any] = {
    "svg.fonttype": "none", "pdf.fonttype": 42, "text.parse_math": False, "axes.unicode_minus": True,
    "font.family": "DejaVu Sans",
    "font.size": 9.0, "axes.titlesize": 9.0, "axes.labelsize": 9.0, "xtick.labelsize": 8.5, "ytick.labelsize": 8.5,
    "legend.fontsize": 8.5, "legend.frameon": False, "axes.spines.top": False, "axes.spines.right": False,
    "axes.edgecolor": palette.MUTED, "axes.labelcolor": palette.INK, "text.color": palette.INK,
    "xtick.color": palette.MUTED, "ytick.color": palette.MUTED, "xtick.labelcolor": palette.INK,
    "ytick.labelcolor": palette.INK, "axes.linewidth": 0.8, "axes.grid": True, "grid.color": palette.FAINT,
    "grid.linewidth": 0.8, "axes.axisbelow": True, "lines.linewidth": 1.8, "figure.facecolor": palette.GROUND,
    "axes.facecolor": "none", "savefig.facecolor": palette.GROUND,
}  # fmt: skip


@contextmanager
def styled(salt: str = "") -> Iterator[None]:
    """Apply our matplotlib settings while drawing or writing; salt: makes ids in SVG unique."""
    import matplotlib

    # Start from the defaults, not from the user's settings, and leave the backend as it is.
    settings: Any = {k: v for k, v in matplotlib.rcParamsDefault.items() if not k.startswith("backend")}
    settings |= {**STYLE, "svg.hashsalt": f"stager {salt}"}
    with matplotlib.rc_context(settings):
        yield


def axes(width: float = WIDTH, height: float = HEIGHT, *, left: float = LEFT, top: float = TOP) -> tuple[Figure, Axes]:
    """Return a figure with one set of axes; sizes and margins in inches."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height))
    figure.subplots_adjust(left=left / width, right=1 - RIGHT / width, bottom=BOTTOM / height, top=1 - top / height)
    return figure, figure.add_subplot()


def for_labels(labels: Iterable[str]) -> float:
    """Return the margin that tick labels beside the axes need [inch]."""
    return 0.16 + LETTER * max(map(len, labels), default=0)


def as_svg(figure: Figure, name: str) -> str:
    """Return a figure as SVG text without prolog, its ids unique to `name`."""
    out = io.StringIO()
    with styled(name):
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    return _tidy(out.getvalue(), name)


def as_png(figure: Figure, name: str) -> bytes:
    """Return a figure as PNG, 200 dots per inch."""
    out = io.BytesIO()
    with styled(name):
        figure.savefig(out, format="png", dpi=200, metadata={"Software": None})
    return out.getvalue()


def as_pdf(figure: Figure, name: str, title: str) -> bytes:
    """Return a figure as PDF with searchable text; characters that the font lacks are boxes."""
    out = io.BytesIO()
    with styled(name), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        given = {"Title": title, "Creator": "stager", "Producer": "stager", "CreationDate": None}
        figure.savefig(out, format="pdf", facecolor="white", metadata=given)
    return out.getvalue()


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line of text at `size` [pt]."""
    return size * _width(text, bold)


@lru_cache(maxsize=4096)
def _width(text: str, bold: bool) -> float:
    """Return the width of a text over its size [-]."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family="DejaVu Sans", size=100, weight="bold" if bold else "normal")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0]) / 100


_FONT = re.compile(r"font: (?P<size>[\d.]+px) [^;\"]*|font-family: [^;\"]*(?:; )?")
_ID = re.compile(r' id="(?P<id>[^"]*)"')
_USED = re.compile(r'(?:xlink:href="#|url\(#)(?P<id>[^")]+)')
_STYLE = re.compile(r"<style[^>]*>.*?</style>", re.DOTALL)
_DECIMALS = re.compile(r"(?P<kept>-?\d+\.\d\d)\d+")
_GROUND = re.compile(r'<g id="patch_1">.*?</g>', re.DOTALL)


def _tidy(text: str, name: str) -> str:
    """Return an SVG without prolog, page-wide style and unused ids, its numbers to 0.01 pt."""
    text = text[text.index("<svg") :]
    text = _GROUND.sub("", _STYLE.sub("", text), count=1)
    used = {found["id"] for found in _USED.finditer(text)}
    text = _ID.sub(lambda found: f' id="{name}-{found["id"]}"' if found["id"] in used else "", text)
    text = _USED.sub(lambda found: found[0].replace(found["id"], f"{name}-{found['id']}"), text)
    text = _FONT.sub(lambda found: f"font-size: {found['size']}" if found["size"] else "", text)
    text = _DECIMALS.sub(r"\g<kept>", text)
    text = re.sub(r"\s*\n\s*", " ", text).replace("> <", "><")
    return text.replace("<svg ", '<svg stroke-linejoin="round" ', 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A figure with a description and a table of its numbers for readers who cannot see it.

    name: file stem and id; alt: what it shows, in words; caption: how to read it; twin: table of the same numbers;
    paint: draws it with matplotlib; drawn: returns its SVG, where matplotlib does not; wide: it takes the whole width
    of a page.
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
        """Return a new matplotlib figure, free to be changed."""
        with styled(self.name):
            return self.paint()

    def svg(self) -> str:
        """Return it as SVG for a file or a page, equal for equal input, with fixed colours."""
        own = as_svg(self.figure(), self.name) if self.drawn is None else self.drawn()
        return own.replace("<svg ", f'<svg role="img" aria-label="{html.escape(self.alt)}" ', 1)

    def png(self) -> bytes:
        """Return it as PNG."""
        return as_png(self.figure(), self.name)

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
        """Return it as SVG whose colours follow the page's light and dark styles."""
        return palette.themed(self.svg())

"""Screens where there is no terminal: as HTML in a notebook, as plain text."""

from __future__ import annotations

import io
from collections.abc import Sequence

from stager.report.figures import Picture
from stager.report.page.render import environment
from stager.report.table import Screen

WIDTH = 100


def markup(screen: Screen, pictures: Sequence[Picture] = ()) -> str:
    """Headline, verdict, pictures, tables and notes as HTML that needs no style sheet."""
    return environment().get_template("screen.html").render(screen=screen, pictures=pictures)


def text(screen: Screen) -> str:
    """The whole screen as plain text."""
    from rich.console import Console

    from stager.report.terminal import whole

    out = io.StringIO()
    # In a notebook rich would show it there and then.
    console = Console(
        file=out, width=WIDTH, markup=False, highlight=False, emoji=False, force_terminal=False, force_jupyter=False
    )
    console.print(whole(screen))
    return out.getvalue().removesuffix("\n")

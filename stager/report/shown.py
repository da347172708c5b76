"""Screens where there is no terminal: as HTML in a notebook, as plain text."""

from __future__ import annotations

import io
from collections.abc import Sequence

from stager.report.figures import Picture
from stager.report.page.blocks import paragraphs
from stager.report.page.html import Markup, join, tag
from stager.report.table import Screen, Table

WIDTH = 100


def markup(screen: Screen, pictures: Sequence[Picture] = ()) -> str:
    """Headline, verdict, pictures, tables and notes as HTML that needs no style sheet."""
    head = tag("p", tag("strong", screen.headline))
    verdict = tag("p", screen.verdict) if screen.verdict else None
    drawn = (tag("figure", Markup(one.svg()), tag("figcaption", one.title, ". ", one.caption)) for one in pictures)
    tables = (_table(item) for item in screen.tables)
    return str(tag("div", join(head, verdict), *drawn, *tables, paragraphs(screen.notes)))


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


def _table(item: Table) -> Markup:
    units = (f"{column.head} ({column.unit})" if column.unit else column.head for column in item.columns)
    sides = [f"text-align: {'left' if column.words else 'right'}" for column in item.columns]
    heads = tag("tr", *(tag("th", head, style=side) for head, side in zip(units, sides, strict=True)))
    rows = (
        tag("tr", *(tag("td", cell, style=side) for cell, side in zip(row, sides, strict=True))) for row in item.rows
    )
    return tag("table", tag("caption", item.title), tag("thead", heads), tag("tbody", *rows))

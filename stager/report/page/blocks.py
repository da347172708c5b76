"""What sections are made of: tables, figures with their twins, notes."""

from __future__ import annotations

from collections.abc import Sequence

from stager.report.figures import Picture
from stager.report.page.html import Markup, Part, join, tag
from stager.report.table import Column, Table


def table(item: Table, *, caption: bool = True, kind: str = "") -> Markup:
    """A table in a frame of its own, which scrolls where it is too wide."""
    heads = tag("tr", *(_head(column) for column in item.columns))
    rows = (tag("tr", *(_cell(column, cell, first=i == 0) for i, (column, cell) in enumerate(zip(item.columns, row,
            strict=True)))) for row in item.rows)  # fmt: skip
    title = tag("caption", item.title) if caption else None
    drawn = tag("table", title, tag("thead", heads), tag("tbody", *rows), class_=kind or None)
    return tag("div", drawn, class_="frame", role="region", aria_label=item.title, tabindex="0")


def _head(column: Column) -> Markup:
    unit = tag("span", f" {column.unit}", class_="unit") if column.unit else None
    return tag("th", column.head, unit, scope="col", class_="words" if column.words else None)


def _cell(column: Column, cell: str, *, first: bool) -> Markup:
    kind = "words" if column.words else None
    if first and cell:
        return tag("th", cell, scope="row", class_=kind)
    return tag("td", cell, class_=kind)


def figure(picture: Picture, *, kind: str = "") -> Markup:
    """A picture with its caption and, folded, its table."""
    twin = tag("details", tag("summary", "Same numbers as a table"), table(picture.twin, caption=False))
    caption = tag("figcaption", tag("strong", picture.title), " ", picture.caption)
    wide = "wide" if picture.wide else None
    return tag("figure", Markup(picture.themed()), caption, twin, class_=kind or wide, id=f"figure-{picture.name}")


def figures(pictures: Sequence[Picture | None]) -> Markup:
    """Pictures side by side where there is room."""
    there = [figure(picture) for picture in pictures if picture is not None]
    return tag("div", *there, class_="figures") if there else Markup()


def section(name: str, title: str, *parts: Part) -> Markup:
    """A section; nothing where it has nothing to say."""
    inside = join(*parts)
    return tag("section", tag("h2", title), inside, id=name) if inside else Markup()


def paragraphs(texts: Sequence[str], kind: str | None = None) -> Markup:
    """A paragraph each."""
    return join(*(tag("p", text, class_=kind) for text in texts))

"""The card as one HTML file that needs nothing else and prints on one A4 sheet."""

from __future__ import annotations

from importlib.resources import files

from stager.report.card.content import Card
from stager.report.page.html import Markup, Part, join, tag
from stager.report.table import Table

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
LARGEST, ROOM = 1.15, 39.0
"""Greatest size [-], and rows that a sheet holds at size 1, as weighed by `_rows`."""


def html(card: Card) -> str:
    """Return the card as an HTML document; equal for equal input."""
    size = min(LARGEST, ROOM / _rows(card))
    style = Markup(f":root{{--size:{size:.3f}}}\n") + (files("stager.report.card") / "card.css").read_text("utf-8")
    head = tag(
        "head", tag("meta", charset="utf-8"), tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="generator", content="stager"), tag("title", f"{card.title}: card"),
        tag("link", rel="icon", href="data:,"), tag("style", Markup(style)),
    )  # fmt: skip
    body = tag(
        "main", tag("h1", card.title), tag("p", card.headline, class_="answer"),
        tag("p", card.alarm, class_="alarm", role="alert") if card.alarm else None,
        _table(card.settings, "main"), tag("p", card.facts),
        None if card.first is None else _table(card.first, "first"), tag("p", card.first_note),
        _table(card.limits, "limits"), join(*(tag("p", note) for note in card.limit_notes)),
        tag("ul", *(tag("li", text) for text in card.cautions), class_="cautions"),
        tag("footer", card.stamp),
    )  # fmt: skip
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', body), lang='en')}\n"


def _rows(card: Card) -> float:
    """How long the card is, in rows of its smaller tables."""
    texts = [card.facts, card.first_note, *card.limit_notes, *card.cautions]
    heads = 1.9 * -(-len(card.title) // 40) + 1.3 * -(-len(card.headline) // 75) + 2.0 * -(-len(card.alarm) // 60)
    first = 0.0 if card.first is None else 1.35 * len(card.first.rows) + 2.5
    lines = sum(-(-len(text) // 85) for text in texts)
    return 1.6 * len(card.settings.rows) + first + len(card.limits.rows) + 0.85 * lines + heads + 3.5


def _table(item: Table, kind: str) -> Markup:
    heads = tag("tr", *(
        tag("th", column.head, tag("span", f" {column.unit}", class_="unit") if column.unit else None, scope="col",
            class_="words" if column.words else None) for column in item.columns
    ))  # fmt: skip
    rows = (tag("tr", *(_cell(cell, words=column.words, first=i == 0) for i, (column, cell) in
                enumerate(zip(item.columns, row, strict=True)))) for row in item.rows)  # fmt: skip
    return tag("table", tag("caption", item.title), tag("thead", heads), tag("tbody", *rows), class_=kind)


def _cell(cell: Part, *, words: bool, first: bool) -> Markup:
    return tag("th" if first else "td", cell, scope="row" if first else None, class_="words" if words else None)

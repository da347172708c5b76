"""The card as one HTML file that needs nothing else and prints on one A4 sheet."""

from __future__ import annotations

from importlib.resources import files

from markupsafe import Markup

from stager.report.card.content import Card
from stager.report.page.render import environment

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
LARGEST, ROOM = 1.15, 39.0
"""Greatest size [-], and rows that a sheet holds at size 1, as weighed by `_rows`."""


def html(card: Card) -> str:
    """Return the card as an HTML document; equal for equal input."""
    size = min(LARGEST, ROOM / _rows(card))
    style = f":root{{--size:{size:.3f}}}\n{(files('stager.report.card') / 'card.css').read_text('utf-8')}"
    sheet = environment().get_template("sheet.html").render(card=card, style=Markup(style), policy=POLICY)
    return f"{sheet}\n"


def _rows(card: Card) -> float:
    """How long the card is, in rows of its smaller tables."""
    texts = [card.facts, card.first_note, *card.limit_notes, *card.cautions]
    heads = 1.9 * -(-len(card.title) // 40) + 1.3 * -(-len(card.headline) // 75) + 2.0 * -(-len(card.alarm) // 60)
    first = 0.0 if card.first is None else 1.35 * len(card.first.rows) + 2.5
    lines = sum(-(-len(text) // 85) for text in texts)
    return 1.6 * len(card.settings.rows) + first + len(card.limits.rows) + 0.85 * lines + heads + 3.5

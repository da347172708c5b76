"""Screens for terminals that know only ASCII."""

from __future__ import annotations

from dataclasses import replace

from stager.report.table import Screen, Table

_PLAIN = str.maketrans({
    "±": "+-", "×": "x", "²": "^2", "³": "^3", "½": "1/2", "°": "deg", "–": "-", "—": "-", "−": "-", "…": "...",
    "→": "->", "µ": "u", "Ω": "ohm", "ω": "w", "·": "*", "≥": ">=",
    "≤": "<=", "√": "root ", "Ø": "diameter", "\u00a0": " ", "\u202f": " ",
})  # fmt: skip


def plain(screen: Screen) -> Screen:
    """The same words with the signs that ASCII lacks spelt out; names are left as they are."""
    return replace(
        screen,
        headline=screen.headline.translate(_PLAIN), verdict=screen.verdict.translate(_PLAIN),
        notes=[note.translate(_PLAIN) for note in screen.notes], tables=[_table(item) for item in screen.tables],
    )  # fmt: skip


def _table(item: Table) -> Table:
    columns = tuple(
        replace(one, head=one.head.translate(_PLAIN), unit=one.unit.translate(_PLAIN)) for one in item.columns
    )
    rows = tuple(tuple(cell.translate(_PLAIN) for cell in row) for row in item.rows)
    return Table(item.title.translate(_PLAIN), columns, rows)

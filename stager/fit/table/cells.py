"""Numbers as spreadsheets write them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

MISSING = frozenset({"", "-", "–", "n/a", "na", "nan", "none", "null"})
_POINT = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$", re.IGNORECASE)
_COMMA = re.compile(r"^[+-]?(\d+,\d*|,\d+)(e[+-]?\d+)?$", re.IGNORECASE)
_GROUPED_COMMA = re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$")
_GROUPED_POINT = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$")
_UNCLEAR = re.compile(r"^[+-]?\d{1,3},\d{3}$")
_UNCLEAR_POINT = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+$")


@dataclass(frozen=True, slots=True)
class Marks:
    """What a table shows of its habits: commas that can only be decimal, points that can only be."""

    comma: bool
    point: bool


def habits(cells: Iterable[str]) -> Marks:
    """Habits of the cells that leave no doubt."""
    comma = point = False
    for cell in map(_clean, cells):
        if (_COMMA.match(cell) and not _UNCLEAR.match(cell)) or ("," in cell and _GROUPED_POINT.match(cell)):
            comma = True
        elif "." in cell and not _UNCLEAR_POINT.match(cell) and (_POINT.match(cell) or _GROUPED_COMMA.match(cell)):
            point = True
    return Marks(comma, point)


def number(cell: str, marks: Marks) -> float | None:
    """The number in a cell; None where it is missing. Raises ValueError that says why it cannot be read."""
    text = _clean(cell)
    if text.lower() in MISSING:
        return None
    if marks.comma and not marks.point and _UNCLEAR_POINT.match(text):
        raise ValueError(f'"{cell.strip()}" can be read two ways: this table has decimal commas')
    if _POINT.match(text):
        return float(text)
    if _UNCLEAR.match(text):
        if marks.comma == marks.point:
            raise ValueError(f'"{cell.strip()}" can be read two ways: is the comma decimal, or between thousands?')
        return float(text.replace(",", "." if marks.comma else ""))
    if _COMMA.match(text):
        return float(text.replace(",", "."))
    if _GROUPED_COMMA.match(text):
        return float(text.replace(",", ""))
    if _GROUPED_POINT.match(text):
        return float(text.replace(".", "").replace(",", "."))
    raise ValueError(f'"{cell.strip()}" is not a number')


def _clean(cell: str) -> str:
    return re.sub(r"[\s'\u00a0\u202f]", "", cell).replace("−", "-")

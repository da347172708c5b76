"""Limits as rows: used, allowed, margin, and a word."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.report.digits import MISSING, digits, percent
from stager.report.table import Column, Table


def table(limits: Sequence[Mapping[str, Any]]) -> Table:
    """One row a limit; each has name, used, allowed, unit, margin_fraction and word."""
    columns = (
        Column("limit", words=True),
        Column("used"),
        Column("allowed"),
        Column("unit", words=True),
        Column("margin"),
        Column("verdict", words=True),
    )
    return Table("Limits", columns, tuple(_row(limit) for limit in limits))


def word(slack: float | None, binding: bool = False) -> str:
    """Verdict on a scaled slack: below 0 broken, 0 binds, above kept."""
    if slack is None:
        return "not computed"
    if slack < 0 and not binding:
        return "BROKEN"
    return "binds" if binding else "kept"


def _row(limit: Mapping[str, Any]) -> tuple[str, ...]:
    unit = limit["unit"]
    return (
        limit["name"].replace("_", " "),
        digits(limit["used"]),
        digits(limit["allowed"]),
        MISSING if unit in ("", "-") else unit,
        percent(limit["margin_fraction"]),
        limit["verdict"],
    )

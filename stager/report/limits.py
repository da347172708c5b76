"""Limits as rows: used, allowed, margin, and a word."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from stager.constraints import LIMITS, LimitResult, NotJudged
from stager.physics.air import SEA_LEVEL_TEMPERATURE
from stager.physics.heat.insulation import ZERO_CELSIUS
from stager.report.digits import MISSING, digits, listing, percent, plural
from stager.report.table import Column, Table

TIGHT = 1e-3
_FLOORS = frozenset(limit.name for limit in LIMITS if limit.floor)
_COLUMNS = (
    Column("limit", words=True),
    Column("used"),
    Column("allowed"),
    Column("unit", words=True),
    Column("margin"),
    Column("verdict", words=True),
    Column("1 % looser", "adds %"),
)


def rows(verdicts: Sequence[LimitResult], not_judged: Sequence[NotJudged] = ()) -> list[dict[str, Any]]:
    """Verdicts without batch axes as the documents have them; a margin is a share of what is allowed.

    Limits that cannot be judged come last, whatever `verdicts` says of them: `kept` is null, `missing` the key that
    they lack, `find_out` how to find it out.
    """
    left_out = {limit.name for limit in not_judged}
    judged = [
        {
            "name": verdict.name,
            "used": float(verdict.value),
            "allowed": float(verdict.bound),
            "unit": verdict.unit,
            "margin_fraction": float(verdict.slack),
            "kept": verdict.satisfied,
            "missing": None,
            "find_out": None,
        }
        for verdict in verdicts
        if verdict.name not in left_out
    ]
    return judged + [
        {
            "name": limit.name,
            "used": None,
            "allowed": limit.bound,
            "unit": limit.unit,
            "margin_fraction": None,
            "kept": None,
            "missing": limit.missing,
            "find_out": limit.find_out or None,
        }
        for limit in not_judged
    ]


def remedies(limits: Sequence[Mapping[str, Any]]) -> Table:
    """Of each limit the one change that would help most; rows with `remedy`."""
    columns = (Column("limit", words=True), Column("what helps most", words=True, wraps=True))
    rows = tuple((title(limit["name"]), limit["remedy"]) for limit in limits if limit["remedy"])
    return Table("To use less of a limit", columns, rows)


def unjudged_note(limits: Sequence[Mapping[str, Any]]) -> list[str]:
    """A sentence for each key that is missing: the limits that cannot be judged without it, and how to find it out."""
    lacking: dict[str, list[Mapping[str, Any]]] = {}
    for limit in limits:
        if limit["kept"] is None:
            lacking.setdefault(limit["missing"], []).append(limit)
    return [_unjudged(key, found) for key, found in lacking.items()]


def missing_keys(limits: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say in one sentence which limits are not judged and which keys they lack."""
    lacking = [limit for limit in limits if limit["kept"] is None]
    if not lacking:
        return []
    names, keys = (listing(list(dict.fromkeys(found))) for found in (
        [title(limit["name"]) for limit in lacking], [limit["missing"] for limit in lacking]
    ))  # fmt: skip
    return [f"Not judged, so not known to be satisfied: {names}. Missing: {keys}."]


def _unjudged(key: str, found: Sequence[Mapping[str, Any]]) -> str:
    names = listing([title(limit["name"]) for limit in found])
    needs = "which needs" if len(found) == 1 else "which need"
    how = found[0].get("find_out")
    return f"Not judged, so not known to be kept: {names}, {needs} {key}{f': {how}' if how else ''}."


def title(name: str) -> str:
    """A limit's name in words."""
    return name.replace("_", " ")


def table(limits: Sequence[Mapping[str, Any]], words: Sequence[str], more: str = "") -> Table:
    """One row a limit, with its verdict in a word, and its price where that is known; more: stands in the title."""
    rows = tuple(_row(limit, word) for limit, word in zip(limits, words, strict=True))
    return Table(f"Limits{more}", _COLUMNS, rows).without_empty(MISSING)


def room(limit: Mapping[str, Any]) -> float:
    """Return what is left of a limit, by what is allowed [-]; of a temperature by what is allowed above the air's."""
    if limit["unit"] != "K":
        return float(limit["margin_fraction"])
    return float((limit["allowed"] - limit["used"]) / (limit["allowed"] - SEA_LEVEL_TEMPERATURE))


def room_text(limit: Mapping[str, Any]) -> str:
    """Return `room` as people read it: counts as they are, all else as a share."""
    if limit["name"] in COUNTS:
        return f"{limit['allowed'] - limit['used']:.0f}"
    left = room(limit)
    return percent(max(left, 0.0) if limit["kept"] else left)


COUNTS = frozenset(("stages",))
"""Limits on a number of things, of which no share is told."""
ROOM = 0.15
"""Margin above which a limit that is kept is left out of a short screen [-]."""
ALWAYS = frozenset(("exit_energy",))
"""Limits that every screen shows."""


def close(limits: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the limits that a short screen shows: always shown, broken, active, not judged, or without much room."""
    return [
        one for one in limits
        if one["name"] in ALWAYS or not one["kept"] or one.get("binding") or room(one) < ROOM
    ]  # fmt: skip


def left_out(limits: Sequence[Mapping[str, Any]]) -> str:
    """Say, for the title of a table, how many limits `close` leaves out."""
    count = len(limits) - len(close(limits))
    return f" ({plural(count, 'other')} with more than {100 * ROOM:.0f} % to spare)" if count else ""


def word(limit: Mapping[str, Any]) -> str:
    """LimitResult on one row of `rows`."""
    if limit["kept"] is None:
        return "not judged"
    if not limit["kept"]:
        return "BROKEN"
    return "no margin left" if limit["margin_fraction"] < TIGHT else "kept"


def _row(limit: Mapping[str, Any], word: str) -> tuple[str, ...]:
    unit, used, allowed, margin = _shown(limit)
    return (
        title(limit["name"]),
        _used(used, unit),
        MISSING if allowed is None else f"min {allowed:.6g}" if limit["name"] in _FLOORS else f"{allowed:.6g}",
        MISSING if unit in ("", "-") else unit,
        margin,
        word,
        MISSING if limit.get("price") is None else f"{100 * limit['price']:.3f}",
    )


def _used(used: float | None, unit: str) -> str:
    """Counts as whole numbers; what cannot be had at all is beyond any number."""
    if used is not None and math.isinf(used):
        return "beyond"
    return f"{used:.0f}" if unit == "-" and used is not None and used == round(used) else digits(used)


def _shown(limit: Mapping[str, Any]) -> tuple[str, float | None, float | None, str]:
    """Unit, used, allowed and margin for people: lengths in mm, temperatures in degC, their margin as a difference."""
    unit, used, allowed = limit["unit"], limit["used"], limit["allowed"]
    if unit == "m":
        unit, used, allowed = "mm", *(None if value is None else 1e3 * value for value in (used, allowed))
    if unit != "K":
        return unit, used, allowed, MISSING if limit["margin_fraction"] is None else room_text(limit)
    if used is None:
        return "degC", None, allowed - ZERO_CELSIUS, MISSING
    return "degC", used - ZERO_CELSIUS, allowed - ZERO_CELSIUS, f"{allowed - used:.0f} K"

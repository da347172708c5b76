"""Limits as rows, tables and sentences; tyres and why they leave their rims."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NotRequired, TypedDict

from stager.constraints import LIMITS, LimitResult, NotJudged, OperatingPoint, speed_range
from stager.model.arrays import hundredths_down
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.wheel import Failure, Retention, explain
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, listing, percent, plural
from stager.report.numbers import speed as speed_text
from stager.units import ScreenUnit, screen_unit

TIGHT = 1e-3
"""Margin below which a limit has "no margin left" [-]."""
LEAST_PRICE = 1e-4
"""Gain of exit speed for a limit 1 % looser below which a table says no figure [-]."""
_FLOORS = frozenset(limit.name for limit in LIMITS if limit.floor)
"""Limits with a lower bound."""
_COLUMNS = (
    Column("limit", words=True),
    Column("used"),
    Column("allowed"),
    Column("unit", words=True),
    Column("margin"),
    Column("verdict", words=True),
    Column("1 % looser", "adds %"),
)


class LimitRow(TypedDict):
    """A limit as JSON has it.

    used, allowed: numbers in `unit`; margin_fraction: a share of what is allowed; missing, find_out: of a limit that
    cannot be judged, the key that it lacks and how to find its value, where the numbers and `kept` are None. remedy is
    set by `check`, binding and price (share of exit speed that 1 % more adds) by `plan`.
    """

    name: str
    used: Any
    allowed: Any
    unit: str
    margin_fraction: Any
    kept: bool | None
    missing: Any
    find_out: str | None
    remedy: NotRequired[str | None]
    binding: NotRequired[bool]
    price: NotRequired[Any]


def rows(verdicts: Sequence[LimitResult], not_judged: Sequence[NotJudged] = ()) -> list[LimitRow]:
    """Return verdicts (no batch axes) as JSON has them, those that cannot be judged last."""
    left_out = {limit.name for limit in not_judged}
    judged: list[LimitRow] = [
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


def remedies(limits: Sequence[LimitRow]) -> Table:
    """Return a table of the change that helps each limit most; limits: rows with `remedy`."""
    columns = (Column("limit", words=True), Column("change", words=True, wraps=True))
    rows = tuple((title(limit["name"]), limit["remedy"]) for limit in limits if limit["remedy"])
    return Table("What helps each limit most", columns, rows)


def unjudged_note(limits: Sequence[LimitRow]) -> list[str]:
    """Return a sentence for each missing key: which limits need it, and how to find its value."""
    lacking: dict[str, list[LimitRow]] = {}
    for limit in limits:
        if limit["kept"] is None:
            lacking.setdefault(limit["missing"], []).append(limit)
    return [_unjudged(key, found) for key, found in lacking.items()]


def missing_keys(limits: Sequence[LimitRow]) -> list[str]:
    """Return one sentence on which limits are not judged and which keys they lack."""
    lacking = [limit for limit in limits if limit["kept"] is None]
    return _lacking([limit["name"] for limit in lacking], [limit["missing"] for limit in lacking])


def unknown(not_judged: Sequence[NotJudged]) -> list[str]:
    """Return one sentence on limits that are not judged and which keys they lack."""
    return _lacking([limit.name for limit in not_judged], [limit.missing for limit in not_judged])


def _lacking(names: Sequence[str], keys: Sequence[str]) -> list[str]:
    if not names:
        return []
    limits, missing = (listing(list(dict.fromkeys(found))) for found in ([title(name) for name in names], keys))
    return [f"Not judged, so not known to be satisfied: {limits}. Missing: {missing}."]


def _unjudged(key: str, found: Sequence[LimitRow]) -> str:
    names = listing([title(limit["name"]) for limit in found])
    needs = "which needs" if len(found) == 1 else "which need"
    how = found[0].get("find_out")
    return f"Not judged, so not known to be kept: {names}, {needs} {key}{f': {how}' if how else ''}."


def title(name: str) -> str:
    """Return a limit's name in words."""
    return name.replace("_", " ")


def table(limits: Sequence[LimitRow], words: Sequence[str], more: str = "") -> Table:
    """Return a table with a row for each limit.

    words: verdict on each in a word; more: addition to the title.
    """
    rows = tuple(_row(limit, word) for limit, word in zip(limits, words, strict=True))
    return Table(f"Limits{more}", _COLUMNS, rows).without_empty(MISSING)


def room(limit: LimitRow) -> float:
    """Return the margin of a limit [-]; of one that is a share itself the difference, as a share of it says little."""
    if limit["name"] in SHARES_SHOWN & _FLOORS:
        return float(limit["used"] - limit["allowed"])
    return float(limit["margin_fraction"])


def room_text(limit: LimitRow) -> str:
    """Return `room` as text: of counts as a number, else per cent."""
    if limit["name"] in COUNTS:
        return f"{limit['allowed'] - limit['used']:.0f}"
    left = max(room(limit), 0.0) if limit["kept"] else room(limit)
    points = limit["name"] in SHARES_SHOWN & _FLOORS
    if abs(left) > FAR and not points:
        return f"> {percent(FAR)}" if left > 0 else f"< {percent(-FAR)}"
    places = 1
    # A broken limit shows by how much.
    while limit["kept"] is False and left and round(100 * abs(left), places) == 0.0 and places < MOST_PLACES:
        places += 1
    return f"{round(100 * left, places) + 0.0:.{places}f} points" if points else percent(left, places)


MOST_PLACES = 6
"""Most decimals of a margin in per cent."""
FAR = 10.0
"""Margin above which only "> 1000 %" is shown [-]."""
SHARES_SHOWN = frozenset(
    limit.name for limit in LIMITS if limit.unit == "-" and limit.name not in ("stages", "rim_safety")
)
"""Limits on shares, shown in per cent."""
COUNTS = frozenset(("stages",))
"""Limits on a number of things, whose margin is a number too."""
ROOM = 0.15
"""Margin above which the short screen leaves a limit out [-]."""
ALWAYS = frozenset(("exit_energy",))
"""Limits that every screen shows."""


def close(limits: Sequence[LimitRow]) -> list[LimitRow]:
    """Return the limits of the short screen: always shown, broken, active, or with little margin.

    Limits that are not judged are left to `missing_keys`.
    """
    judged = [one for one in limits if one["kept"] is not None]
    return [
        one for one in judged
        if one["name"] in ALWAYS or not one["kept"] or one.get("binding") or room(one) < ROOM
    ]  # fmt: skip


def left_out(limits: Sequence[LimitRow]) -> str:
    """Return for the title of a table how many limits `close` leaves out."""
    near = close(limits)
    count = sum(one["kept"] is not None for one in limits) - len(near)
    if count and not near:
        return f" (all {count} that are judged have more than {100 * ROOM:.0f} % to spare)"
    return f" ({plural(count, 'other')} with more than {100 * ROOM:.0f} % to spare)" if count else ""


def abridged(limits: Sequence[LimitRow], word: Callable[[LimitRow], str]) -> Table:
    """Return the table of the limits that are `close`; all of them under --full."""
    near = close(limits)
    short = table(near, [word(one) for one in near], left_out(limits))
    full = table(limits, [word(one) for one in limits])
    return replace(short, full=full) if len(near) < len(limits) else short


def word(limit: LimitRow) -> str:
    """Return the verdict on a row of `rows` in a word."""
    if limit["kept"] is None:
        return "not judged"
    if not limit["kept"]:
        return "BROKEN"
    return "no margin left" if limit["margin_fraction"] < TIGHT else "kept"


def _price(share: float | None) -> str:
    """Return the gain of exit speed [%] for a limit 1 % looser."""
    if share is None:
        return MISSING
    return f"< {100 * LEAST_PRICE:g}" if 0 < share < LEAST_PRICE else digits(100 * share, 2)


def _row(limit: LimitRow, word: str) -> tuple[str, ...]:
    unit, used, allowed = unit_of(limit["name"], limit["unit"]), limit["used"], limit["allowed"]
    bound = MISSING if allowed is None else f"{unit.shown(allowed):.6g}"
    return (
        title(limit["name"]),
        _used(used, unit),
        f"min {bound}" if limit["name"] in _FLOORS and allowed is not None else bound,
        unit.name or MISSING,
        _margin(limit),
        word,
        _price(limit.get("price")),
    )


def unit_of(name: str, unit: str) -> ScreenUnit:
    """Return the unit in which a limit `name` with SI unit `unit` is shown; shares in %."""
    return screen_unit("share" if name in SHARES_SHOWN else unit)


def used_text(used: float | None, limit: LimitRow) -> str:
    """Return a value of the limit as text in its unit; counts as whole numbers, infinity as "beyond"."""
    return _used(used, unit_of(limit["name"], limit["unit"]))


def _used(used: float | None, unit: ScreenUnit) -> str:
    if used is None:
        return MISSING
    if math.isinf(used):
        return "beyond"
    return f"{used:.0f}" if not unit.name and used == round(used) else digits(unit.shown(used))


def _margin(limit: LimitRow) -> str:
    """Return the margin as text; of temperatures as a difference."""
    if limit["used"] is None or limit["margin_fraction"] is None:
        return MISSING
    return f"{limit['allowed'] - limit['used']:.0f} K" if limit["unit"] == "K" else room_text(limit)


NEAR = 0.7
"""Share of the speed at which a tyre fails from which on it is explained [-]."""
WHY = {
    Failure.LIFTS: (
        "Spinning pulls the ring outward with ρu², whatever the wheel's radius, against the Eε of its stretch."
    ),
    Failure.CREEPS_OUT: "Spinning takes away the ring's grip on its seat; then only the clamp's friction holds it.",
    Failure.BREAKS_LIP: "The lip carries the load that spinning takes off the ring's stretch.",
    Failure.PEELS: "The bond carries the load that spinning takes off the ring's stretch.",
    Failure.TEARS: "The ring is held on; its rubber tears under its own centrifugal load.",
}


AT_THE_END = 0.9
"""Share of the speed range from which on a wheel speed is said to be at its end [-]."""


def reach_notes(launcher: Launcher, limit_values: LimitValues, speeds: Mapping[int, float]) -> list[str]:
    """Return which wheels run at the end of the speed range where nothing says how fast they can turn.

    speeds: surface speeds by stage, from 0 [m/s]
    """
    ends = [
        (str(k + 1), title(reach.ends_by))
        for k, one in speeds.items()
        if launcher.stage(k).drive is None and limit_values.wheel_speed is None
        and one >= AT_THE_END * float((reach := speed_range(launcher, limit_values, k)).top.mean())
    ]  # fmt: skip
    if not ends:
        return []
    stages = f"stage{'' if len(ends) == 1 else 's'} {listing([stage for stage, _ in ends])}"
    by = ends[0][1]
    only = "Nothing limits" if by == "range" else f"Only {by} limits"
    return [
        f"{only} how fast the wheels of {stages} turn here: give what they reach, as limits.wheel_speed or with"
        " [stage.drive]."
    ]


def tyre_rows(design: OperatingPoint) -> list[dict[str, Any]]:
    """Return the tyres by stage as JSON has them; wheels without a tyre are left out."""
    return [_tyre_row(stage, speed, found) for stage, speed, found in _tyres(design)]


def tyre_notes(design: OperatingPoint) -> list[str]:
    """Return how the tyre closest to failure fails and what helps most; nothing while all are far from it."""
    tyres = _tyres(design)
    if not tyres:
        return []
    stage, runs, found = max(tyres, key=lambda tyre: tyre[1] / tyre[2].speed)
    if found.failure is None or runs < NEAR * found.speed:
        return []
    first = (
        f"Tyre of stage {stage}, which runs at {speed_text(runs)} m/s: from {hundredths_down(found.speed)} m/s on"
        f" {found.failure.value}."
    )
    alone = (
        f"Stretch alone holds to {hundredths_down(found.lift_off)} m/s; at {speed_text(runs)} m/s it would take"
        f" {percent(found.needed_stretch, 0)}."
    )
    help_most = [f"What helps most: {change.what}, to {digits(change.speed)} m/s." for change in found.changes[:1]]
    return [" ".join([first, WHY[found.failure], alone, *help_most])]


def _tyres(design: OperatingPoint) -> Sequence[tuple[int, float, Retention]]:
    found = []
    for k in range(design.count):
        speed = float(design.turning[k])
        retention = explain(design.launcher.stage(k).wheel, speed)
        if retention is not None:
            found.append((k + 1, speed, retention))
    return found


def _tyre_row(stage: int, speed: float, found: Retention) -> dict[str, Any]:
    return {
        "stage": stage,
        "wheel_speed_m_s": speed,
        "leaves_at_m_s": None if found.failure is None else found.speed,
        "because": None if found.failure is None else found.failure.value,
        "missing": found.missing,
        "stretch_alone_holds_to_m_s": found.lift_off,
        "stretch_needed_alone": found.needed_stretch,
        "changes": [{"what": change.what, "holds_to_m_s": change.speed} for change in found.changes],
    }

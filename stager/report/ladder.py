"""The ladder: what each further stage adds and costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.optimise.records import Interval, Plan, Rung
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, digits, percent, speed
from stager.report.plot import Ranges
from stager.report.throw import at_spin

_COLUMNS = (
    Column("stages"),
    Column("exit", "m/s"),
    Column("95 % of builds", "m/s"),
    Column("gain", "%"),
    Column("chance it pays"),
    Column("length", "mm"),
    Column("mass", "g"),
    Column("cost"),
    Column("power", "W"),
)


def rows(ladder: Sequence[Rung]) -> list[dict[str, Any]]:
    """The ladder as the documents have it."""
    return [
        {
            "stages": rung.stages,
            "exit_speed_m_s": _interval(rung.exit_speed),
            "gain_fraction": None if rung.gain is None else _interval(rung.gain),
            "probability_worthwhile": rung.probability_worthwhile,
            "length_m": float(rung.length),
            "mass_kg": rung.mass,
            "cost": rung.cost,
            "average_power_W": rung.average_power,
        }
        for rung in ladder
    ]


def _interval(interval: Interval) -> dict[str, float | None]:
    return {"nominal": interval.nominal, "low": interval.low, "high": interval.high}


def table(ladder: Sequence[Mapping[str, Any]]) -> Table:
    """One row a stage count, as the documents have it; what is not computed has no column."""
    shown = [rung for rung in ladder if rung["stages"]] or ladder
    return Table("Ladder", _COLUMNS, tuple(_row(rung) for rung in shown)).without_empty(MISSING)


def picture(ladder: Sequence[Mapping[str, Any]]) -> Ranges:
    """Exit speed of each stage count with its interval, and what the last stage adds."""
    return Ranges(title="Exit speed in m/s by number of stages", rows=tuple(_range(rung) for rung in ladder))


def _range(rung: Mapping[str, Any]) -> tuple[str, float, float, float, str]:
    exit_speed = rung["exit_speed_m_s"]
    nominal = exit_speed["nominal"]
    low, high = (nominal if exit_speed[end] is None else exit_speed[end] for end in ("low", "high"))
    return str(rung["stages"]), low, nominal, high, "" if _gain(rung) == MISSING else f"{_gain(rung)} %"


def _row(rung: Mapping[str, Any]) -> tuple[str, ...]:
    exit_speed = rung["exit_speed_m_s"]
    low, high = exit_speed["low"], exit_speed["high"]
    return (
        str(rung["stages"]),
        speed(exit_speed["nominal"]),
        MISSING if low is None or high is None else f"{low:.2f} to {high:.2f}",
        _gain(rung),
        percent(rung["probability_worthwhile"], 0),
        f"{1000 * rung['length_m']:.0f}",
        digits(_times(1000, rung["mass_kg"]) or None),
        digits(rung["cost"] or None),
        digits(rung["average_power_W"]),
    )


def _gain(rung: Mapping[str, Any]) -> str:
    """What the last stage adds to the exit speed of one stage less [%]; the first one has none to add to."""
    gain = rung["gain_fraction"]
    if gain is None or rung["stages"] < 2:
        return MISSING
    share = gain["nominal"]
    return f"{100 * share:+.{0 if share >= 1 else 1}f}"


def _times(factor: float, value: float | None) -> float | None:
    return None if value is None else factor * value


def left_open(plan: Plan) -> list[str]:
    """Say what a search that was stopped has not looked at."""
    if not plan.left_open:
        return []
    return [f"The time was up. Not looked at: {'; '.join(plan.left_open)}. More --seconds, or none, do that too."]


def answer(plan: Plan, source: Provenance) -> Answer:
    """What each further stage adds and costs; no design that fits is a "no"."""
    found = rows(plan.ladder)
    content = {
        "ladder": found, "recommended_stages": plan.recommended_stages, "verdict": plan.verdict,
        "left_open": list(plan.left_open),
    }  # fmt: skip
    pictures = (picture(found),) if len(found) > 1 else ()
    notes = [*left_open(plan), *at_spin(plan)]
    so_far = "Best so far: " if plan.left_open else ""
    screen = Screen(f"{so_far}{plan.verdict}", (table(found),), notes, pictures=pictures)
    return Answer(screen, document(content, source), yes=not plan.nothing_fits)

"""`stager worth`: the ladder, what each further stage adds and costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.optimise.records import Interval, Plan, Rung
from stager.report.alternatives import VARIABLES
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, digits, percent, speed
from stager.report.plot import Ranges
from stager.report.throw import ladder_spin_notes

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
    """Return the ladder as JSON has it."""
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
            "chosen": {VARIABLES[name]: list(values) for name, values in rung.design.items()},
        }
        for rung in ladder
    ]


def _interval(interval: Interval) -> dict[str, float | None]:
    return {"nominal": interval.nominal, "low": interval.low, "high": interval.high}


def table(ladder: Sequence[Mapping[str, Any]]) -> Table:
    """Return the table of a ladder, a row for each stage count, without empty columns; ladder: see `rows`."""
    shown = [rung for rung in ladder if rung["stages"]] or ladder
    return Table("Ladder", _COLUMNS, tuple(_row(rung) for rung in shown)).without_empty(MISSING)


def picture(ladder: Sequence[Mapping[str, Any]]) -> Ranges:
    """Return a text picture of exit speed by stage count, with interval and gain; ladder: see `rows`."""
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
    """Return the gain of exit speed over one stage less [%]; MISSING for the first stage."""
    gain = rung["gain_fraction"]
    if gain is None or rung["stages"] < 2:
        return MISSING
    share = gain["nominal"]
    return f"{100 * share:+.{0 if share >= 1 else 1}f}"


def _times(factor: float, value: float | None) -> float | None:
    return None if value is None else factor * value


def left_open(plan: Plan) -> list[str]:
    """Return a sentence on what a stopped search left undone."""
    if not plan.left_open:
        return []
    undone = "; ".join(plan.left_open)
    return [f"Stopped when the time was up. Not done: {undone}. Give more --seconds, or leave them out."]


UNMEASURED = "Guesses so far: measure first, as stager next says."
"""What to do first where the contact is a guess."""


def answer(plan: Plan, source: Provenance, *, guessed: bool = False) -> Answer:
    """Return the screen and document of the ladder; it is a "no" where no design fits.

    guessed: see `Scenario.guessed`
    """
    content_rows = rows(plan.ladder)
    content = {
        "ladder": content_rows, "recommended_stages": plan.recommended_stages, "verdict": plan.verdict,
        "left_open": list(plan.left_open),
    }  # fmt: skip
    pictures = (picture(content_rows),) if len(content_rows) > 1 else ()
    notes = [*([UNMEASURED] if guessed else []), *left_open(plan), *ladder_spin_notes(plan)]
    so_far = "Best so far: " if plan.left_open else ""
    screen = Screen(f"{so_far}{plan.verdict}", (table(content_rows),), notes, pictures=pictures)
    return Answer(screen, document(content, source), yes=not plan.nothing_fits)

"""`stager next`: settings to throw at next, as screen and document."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from stager.fit.experiment_design import Next
from stager.model.launcher import Launcher
from stager.physics.mechanics import turns_per_minute
from stager.report import predictions
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import percent, plural, speed


def answer(found: Next, launcher: Launcher, source: Provenance) -> Answer:
    """Return settings to throw at, or that enough is known."""
    tables = (_plan(found, launcher),) if found.helps else ()
    return Answer(Screen(_headline(found), tables, _notes(found)), document(summary(found, launcher), source))


def summary(found: Next, launcher: Launcher) -> dict[str, Any]:
    """Return the suggestion as JSON has it, without provenance."""
    return {
        "enough_is_known": found.enough,
        "first_session": found.unmeasured,
        "helps": found.helps,
        "stages_built": found.built,
        "probability_worthwhile": found.probability_worthwhile,
        "probability_wrong": {"stage": found.wrong_stage, "speed": found.wrong_speed},
        "best_wheel_speed_m_s": found.recommended.wheel_speed,
        "recommended": predictions.recommended_rows(found.recommended),
        "plan": [
            {
                "wheel_speed_m_s": one.wheel_speed,
                "rpm": [_rpm(u, k, launcher) for k, u in enumerate(one.wheel_speed)],
                "probability_wrong_after": one.wrong_after,
                "purpose": one.purpose,
            }
            for one in found.plan
        ],
        "settings": {"wheel_speed_m_s": found.wheel_speed, "probability_wrong_after_one": found.wrong_after},
    }


def _rpm(wheel_speed: float, k: int, launcher: Launcher) -> float:
    return float(turns_per_minute(wheel_speed, launcher.stage(k).wheel))


MINUTES = 2.5
"""Time for one throw, with setting the wheels and writing it down [min]; an assumption."""
PURPOSES = {"decision": "how to set it", "model": "if the model fits", "drift": "if it drifts"}
"""What a throw of a first session shows, by its purpose."""
NOTHING_SAFE = "No setting keeps the hard limits in as many builds as limits.confidence asks."


def _headline(found: Next) -> str:
    if found.recommended.wheel_speed is None:
        return f"No throw is proposed. {found.recommended.reason}"
    if not (found.enough or found.plan):
        return f"No throw is proposed. {NOTHING_SAFE}"
    if found.enough:
        return "Enough is known: more throws would hardly change a decision."
    if not found.helps:
        return f"More throws with what is built would hardly help: {chance(found)} stays near {share(found.wrong)}."
    if found.unmeasured:
        minutes = 5 * math.ceil(MINUTES * len(found.plan) / 5)
        return (
            f"First session: {plural(len(found.plan), 'throw')}, about {minutes} minutes, slow ones first:"
            f" {chance(found)} is {share(found.wrong)} now and about {share(found.plan[-1].wrong_after)} afterwards."
        )
    at = ", ".join(speed(u) for u in found.plan[0].wheel_speed)
    after = f"about {share(found.plan[-1].wrong_after)} after the {plural(len(found.plan), 'throw')} below"
    return f"Throw next at {at} m/s: {chance(found)} is {share(found.wrong)} now and {after}."


def chance(found: Next) -> str:
    """Return the words for the risk that further throws reduce."""
    stages = "" if found.probability_worthwhile is None else " or number of stages"
    return f"the chance to choose the wrong wheel speed{stages}"


def share(wrong: float) -> str:
    """Return a chance in whole per cent, at most 100 %: the sum of two chances may exceed it."""
    return percent(min(wrong, 1.0), 0)


def _plan(found: Next, launcher: Launcher) -> Table:
    columns = (
        Column("throw"), Column("wheels", "m/s"), Column("wheels", "rpm"), Column("wrong after", "chance"),
        *((Column("it shows"),) if found.unmeasured else ()),
    )  # fmt: skip
    rows = tuple(
        (
            str(number + 1), ", ".join(speed(u) for u in one.wheel_speed),
            ", ".join(f"{_rpm(u, k, launcher):.0f}" for k, u in enumerate(one.wheel_speed)),
            share(one.wrong_after), *((PURPOSES[one.purpose],) if found.unmeasured else ()),
        )
        for number, one in enumerate(found.plan)
    )  # fmt: skip
    return Table("Throws to make", columns, rows)


def _notes(found: Next) -> list[str]:
    notes = []
    if found.probability_worthwhile is not None:
        notes.append(
            f"Chance that stage {found.built + 1} is worth building: {percent(found.probability_worthwhile, 0)}."
        )
    notes += predictions.recommended_notes(found.recommended, found.built)
    if found.recommended.wheel_speed is not None:
        notes.append(f"Chance that it loses more than 1 % of exit speed: {percent(found.wrong_speed, 0)}.")
    if not found.enough and not found.plan and found.recommended.wheel_speed is None:
        notes.append(NOTHING_SAFE)
    if found.unmeasured:
        notes.append("Every throw keeps the judged hard limits in all builds that the configuration allows for.")
    elif not found.enough and np.isfinite(found.wrong):
        notes.append("Shuffle the order of the throws, so that a drift does not look like a setting.")
    return notes

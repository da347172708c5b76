"""The ladder of stage counts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stager.model.arrays import Floats, Number
from stager.optimise.parts import Row
from stager.optimise.records import Interval, Rung
from stager.optimise.tune import Tuned

COVERED = 0.025, 0.975


def rungs(rows: Sequence[Row], tuned: Tuned | None = None) -> tuple[Rung, ...]:
    """Return one rung a number of stages, the best design with up to so many.

    tuned : draws tuned on each of them, for intervals and probabilities.
    """
    return tuple(_rung(rows, number, tuned) for number in range(len(rows)))


def _rung(rows: Sequence[Row], number: int, tuned: Tuned | None) -> Rung:
    row = rows[number]
    here, below = _best(rows[: number + 1]), _best(rows[:number]) if number else None
    stages = [row.scenario.launcher.stage(k) for k in range(number)]
    gain, probability = None, None
    if below is not None and below.settings.exit_speed > 0:
        drawn = None if tuned is None else tuned.gain(number - 1)
        gain = _interval(here.settings.exit_speed / below.settings.exit_speed - 1, drawn)
        probability = None if drawn is None else float((drawn >= row.scenario.goal.worthwhile).mean())
    return Rung(
        stages=number,
        exit_speed=_interval(here.settings.exit_speed, None if tuned is None else tuned.exit_speed[number]),
        gain=gain, probability_worthwhile=probability, length=row.settings.length,
        mass=_sum([stage.mass for stage in stages]), cost=_sum([stage.cost for stage in stages]),
        average_power=here.settings.average_power, kept=here.feasible,
        broken=() if row.feasible else _broken(row), parts=row.parts,
        crushes=tuple(float(np.mean(stage.crush)) for stage in stages),
    )  # fmt: skip


def _broken(row: Row) -> tuple[str, ...]:
    """Names of the limits that the least bad design of a row breaks; "jam" where nothing gets through."""
    if bool(row.settings.throw.jammed):
        return ("jam",)
    return tuple(result.name for result in row.settings.verdicts if not result.satisfied)


def _best(rows: Sequence[Row]) -> Row:
    """The fastest that keeps every limit, the last where all are slower or none does: a stage may be left out."""
    last = rows[-1]
    kept = [row for row in rows if row.feasible]
    best = max(kept, key=lambda row: row.settings.exit_speed, default=last)
    return last if last.feasible and last.settings.exit_speed >= best.settings.exit_speed else best


def _interval(nominal: float, drawn: Floats | None) -> Interval:
    if drawn is None:
        return Interval(nominal=nominal)
    low, high = (float(value) for value in np.quantile(drawn, COVERED))
    return Interval(nominal=nominal, low=low, high=high)


def _sum(values: Sequence[Number | None]) -> float | None:
    known = [float(value) for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None

"""The ladder of stage counts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.scenario import Scenario
from stager.optimise.odds import Odds
from stager.optimise.records import Interval, Rung, Settings

COVERED = 0.025, 0.975


def rungs(scenario: Scenario, climbed: Sequence[Settings], chances: Odds | None = None) -> tuple[Rung, ...]:
    """One rung a stage count, the best with up to so many; with intervals and probabilities where `chances` are
    known."""
    return tuple(_rung(scenario, climbed, number, chances) for number in range(len(climbed)))


def _rung(scenario: Scenario, climbed: Sequence[Settings], number: int, chances: Odds | None) -> Rung:
    here, below = _best(climbed[: number + 1]), _best(climbed[:number]) if number else None
    stages = [scenario.launcher.stage(k) for k in range(number)]
    gain, probability = None, None
    if below is not None and below.exit_speed > 0:
        drawn = None if chances is None else chances.gain[number - 1]
        gain = _interval(here.exit_speed / below.exit_speed - 1, drawn)
        probability = None if drawn is None else float((drawn >= scenario.goal.worthwhile).mean())
    return Rung(
        stages=number,
        exit_speed=_interval(here.exit_speed, None if chances is None else chances.exit_speed[number]),
        gain=gain, probability_worthwhile=probability, length=climbed[number].length,
        mass=_sum([stage.mass for stage in stages]), cost=_sum([stage.cost for stage in stages]),
        average_power=here.average_power, kept=here.feasible,
    )  # fmt: skip


def _best(climbed: Sequence[Settings]) -> Settings:
    """The fastest that keeps every limit, the last where all are slower or none does: a stage may be left out."""
    last = climbed[-1]
    kept = [found for found in climbed if found.feasible]
    best = max(kept, key=lambda found: found.exit_speed, default=last)
    return last if last.feasible and last.exit_speed >= best.exit_speed else best


def _interval(nominal: float, drawn: Floats | None) -> Interval:
    if drawn is None:
        return Interval(nominal=nominal)
    low, high = (float(value) for value in np.quantile(drawn, COVERED))
    return Interval(nominal=nominal, low=low, high=high)


def _sum(values: Sequence[Number | None]) -> float | None:
    known = [float(value) for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None

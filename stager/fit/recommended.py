"""The wheel speeds to set stages to, by what is known: the same draws for every screen, so the same number."""

from __future__ import annotations

import numpy as np

from stager.constraints.recommend import Recommended, recommend
from stager.fit.draws import Ensemble, after, before
from stager.fit.grip_ensemble import Finder
from stager.fit.records import Fit
from stager.model.arrays import Floats
from stager.model.requirements import Aim
from stager.model.scenario import Scenario
from stager.physics.chain import throw
from stager.physics.options import SURE

DRAWS, SEED = 400, 11
"""Draws that recommendations rest on, and where they begin, whatever else is drawn."""


def known_of(source: Fit | Scenario) -> Ensemble:
    """Return the launchers that could be the real one, after a fit or by a configuration.

    There is one where nothing is uncertain.
    """
    rng = np.random.default_rng(SEED)
    found = before(source, rng, DRAWS) if isinstance(source, Scenario) else after(source, rng, DRAWS)
    if found.values:
        return found
    return Ensemble(scenario=found.scenario, values={}, laws=found.laws[:1], launcher=found.scenario.launcher)


def recommended(known: Ensemble, before_a: Floats, before_b: Floats, find: Finder) -> Recommended:
    """Recommend the wheel speed of the stage behind wheels at before_a, before_b [m/s], each (index,).

    known: as `known_of` gives it.
    """
    index, best = before_a.size, known.best
    fed = best.feed
    speed, spin = (np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in (fed.speed, fed.spin))
    if index:
        done = throw(best, before_a, before_b, options=SURE)
        speed, spin = np.atleast_1d(done.exit_speed), np.atleast_1d(done.spin)
    grip = np.nan if speed[0] <= 0 else float(find(best, index, speed, spin).wheel_speed[0])
    goal = known.scenario.goal
    return recommend(
        known.launcher, known.lanes, known.scenario.limit_values, (before_a, before_b),
        None if np.isnan(grip) else grip, asked=None if goal.aim is Aim.FASTEST else goal.exit_speed,
    )  # fmt: skip


def recommended_chain(known: Ensemble, stages: int, find: Finder) -> tuple[Recommended, ...]:
    """Recommend the wheel speeds of `stages` stages in turn, each behind those before it; it ends with a stage that has
    none."""
    found: list[Recommended] = []
    for _ in range(stages):
        settings = np.array([one.wheel_speed for one in found], dtype=np.float64)
        found.append(recommended(known, settings, settings, find))
        if found[-1].wheel_speed is None:
            break
    return tuple(found)

"""The wheel speeds to set stages to, by what is known: the same draws for every screen, so the same number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stager.constraints import speed_range
from stager.constraints.recommend import Recommended, recommend
from stager.fit.draws import Ensemble, after, before
from stager.fit.grip_ensemble import Finder
from stager.fit.records import Fit
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import Aim
from stager.model.scenario import Scenario
from stager.physics.batch import take
from stager.physics.chain import SURE, throw
from stager.physics.grip_limit import FAIRLY, GripLimit, grip_limit
from stager.physics.guide import run_up

DRAWS, SEED = 400, 11
"""Draws that recommendations rest on, and where they begin, whatever else is drawn."""


def finder(scenario: Scenario) -> Finder:
    """Return what finds grip limits within the limits and drives of `scenario`."""

    def find(launcher: Launcher, index: int, entry_speed: Floats, entry_spin: Floats) -> GripLimit:
        top = np.asarray(speed_range(launcher, scenario.limit_values, index).top)
        return grip_limit(launcher, index, entry_speed, entry_spin, top, looks=FAIRLY, options=SURE)

    return find


def known_of(source: Fit | Scenario) -> Ensemble:
    """Return the launchers that could be the real one, after a fit or by a configuration.

    There is one where nothing is uncertain.
    """
    rng = np.random.default_rng(SEED)
    found = before(source, rng, DRAWS) if isinstance(source, Scenario) else after(source, rng, DRAWS)
    # Friction drawn after a fit may be all that differs, and is no value of its own there.
    if found.values or len(set(found.laws)) > 1:
        return found
    return replace(found, laws=found.laws[:1])


def recommended(known: Ensemble, before_a: Floats, before_b: Floats) -> Recommended:
    """Recommend the wheel speed of the stage behind wheels at before_a, before_b [m/s], each (index,).

    known: as `known_of` gives it.
    """
    scenario, index = known.scenario, before_a.size
    best, limit_values, goal = take(known.launcher, np.zeros(1, np.intp)), scenario.limit_values, scenario.goal
    speed, spin = (np.atleast_1d(np.asarray(value, np.float64)) for value in (best.feed.speed, best.feed.spin))
    if index:
        done = throw(best, before_a[None], before_b[None])
        spin = done.spin
        speed = run_up(best, index, done.exit_speed, np.maximum(before_a, before_b)[-1:])
    grip = np.nan
    if speed[0] > 0:
        top = np.asarray(speed_range(best, limit_values, index).top)
        grip = float(grip_limit(best, index, speed, spin, np.atleast_1d(top)).wheel_speed[0])
    return recommend(
        known.launcher, known.lanes, limit_values, (before_a, before_b), None if np.isnan(grip) else grip,
        asked=None if goal.aim is Aim.FASTEST else goal.exit_speed,
    )  # fmt: skip


def recommended_chain(known: Ensemble, stages: int) -> tuple[Recommended, ...]:
    """Recommend the wheel speeds of `stages` stages in turn, each behind those before it; it ends with a stage that has
    none."""
    found: list[Recommended] = []
    for _ in range(stages):
        settings = np.array([one.wheel_speed for one in found], dtype=np.float64)
        found.append(recommended(known, settings, settings))
        if found[-1].wheel_speed is None:
            break
    return tuple(found)

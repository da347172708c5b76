"""One stage more where peak acceleration leaves a wheel several ranges: no source but arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from stager.optimise.aims import task
from stager.optimise.extend import extended

from stager.model.arrays import Floats
from stager.optimise.planner import plan
from stager.physics.chain import throw
from stager.physics.options import Options
from tests.optimise.rivals import problem

DRAWN = problem(np.random.default_rng([0, 33]))
BEHIND = replace(
    DRAWN, launcher=replace(DRAWN.launcher, feed=replace(DRAWN.launcher.feed, speed=27.38)),
    limit_values=replace(DRAWN.limit_values, stages=2),
)  # fmt: skip
"""As behind three of its stages."""


def _scanned(first: float) -> tuple[Floats, Floats]:
    """Exit speeds [m/s] over second wheels behind a first [m/s], and the greatest acceleration as a share."""
    wheels = np.linspace(0.3, 1.0, 600) * float(BEHIND.limit_values.wheel_speed or 0.0)
    done = throw(BEHIND.launcher, np.column_stack([np.full(600, first), wheels]), options=Options(tolerance=1e-5))
    return done.exit_speed, done.stages.peak_acceleration.max(axis=-1) / float(BEHIND.limit_values.acceleration or 0.0)


def test_a_wheel_comes_past_speeds_that_strain() -> None:
    first = extended(BEHIND, np.zeros(0), task(BEHIND))
    assert first is not None
    chain = extended(BEHIND, first, task(BEHIND))
    assert chain is not None
    exits, strain = _scanned(float(first[0]))
    fastest = int(np.argmax(np.where(strain <= 1 - 1e-4, exits, 0.0)))
    assert (strain[:fastest] > 1).any()
    done = throw(BEHIND.launcher, chain, options=Options(tolerance=1e-6))
    assert done.stages.peak_acceleration.max() <= BEHIND.limit_values.acceleration
    assert done.exit_speed >= exits[fastest] * (1 - 1e-5)


def test_two_stages_throw_as_fast_as_the_first_with_the_best_behind_it() -> None:
    ladder = plan(BEHIND, draws=0, certified=False).ladder
    first = extended(BEHIND, np.zeros(0), task(BEHIND))
    assert first is not None
    exits, strain = _scanned(float(first[0]))
    assert ladder[2].exit_speed.nominal >= exits[strain <= 1 - 1e-4].max() * (1 - 1e-4)

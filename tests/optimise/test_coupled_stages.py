"""Stages so close that two hold a rod at once: every part of the program means the same chain and grip limit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from stager.constraints import OperatingPoint
from stager.constraints.design import GRIP_MARGIN
from stager.constraints.limit import evaluate
from stager.fit.prediction import Ensemble, at, chain, finder, known_of, recommended_chain
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.model.projectile import ROD, Projectile
from stager.optimise.grip_limits import grip_limits
from stager.optimise.ladder import TuningStep, tune
from stager.optimise.planner import plan
from stager.optimise.sweep import Sweep, sweep
from stager.physics.barrel import coupled
from stager.physics.chain import throw
from stager.physics.friction import Falling
from tests.optimise.machines import launcher, scenario, stage

SEEDS = range(6)
MARGIN = 0.05


@cache
def task(seed: int) -> Scenario:
    """Return a scenario of two stages that hold a drawn rod at once."""
    rng = np.random.default_rng(seed)
    radius, crush = rng.uniform(0.015, 0.03), rng.uniform(0.0015, 0.003)
    pitch = 2 * radius + 0.008
    rod = Projectile(shape=ROD, mass=rng.uniform(2e-3, 8e-3), diameter=0.013, length=pitch * rng.uniform(1.1, 1.9))
    part = stage(radius=radius, crush=crush, clearance=0.008, inertia=rng.uniform(4e-6, 2e-5))
    law = Falling(static=rng.uniform(0.5, 0.9), sliding=0.33, fade_speed=9.0)
    machine = launcher(rod, part, law, feed=0.8, stiffness=rng.uniform(5e3, 9e3), creep=0.3, rebound=0.5)
    assert coupled(machine, 1, np.ones(1))
    given = scenario(machine, stages=2, grip_margin=MARGIN, wheel_speed=60.0)
    return replace(given, realise=_with_stiffness(machine), values={"contact.stiffness": machine.contact.stiffness})


def _with_stiffness(machine: Launcher):  # type: ignore[no-untyped-def]
    def realise(values):  # type: ignore[no-untyped-def]
        stiffness = values.get("contact.stiffness", machine.contact.stiffness)
        return replace(machine, contact=replace(machine.contact, stiffness=stiffness))

    return realise


@cache
def swept(seed: int) -> Sweep:
    """Return the sweep of the second stage behind the first one at its grip limit less the margin."""
    return sweep(task(seed), 1)


@pytest.mark.parametrize("seed", SEEDS)
def test_sweep_shows_the_exit_speeds_of_the_whole_chain(seed: int) -> None:
    found = swept(seed)
    before = np.broadcast_to(found.before_a, (found.wheel_speed.size, 1))
    whole = throw(task(seed).launcher, np.column_stack([before, found.wheel_speed]))
    np.testing.assert_allclose(found.exit_speed, whole.exit_speed, rtol=1e-6)
    assert found.entry_speed == pytest.approx(whole.stages.entry_speed[40, 1], rel=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_chain_throws_as_fast_at_the_grip_limit_as_the_sweep_says_and_hardly_faster_beyond(seed: int) -> None:
    found = swept(seed)
    assert found.grip_speed is not None
    chains = np.column_stack([np.full(400, found.before_a[0]), found.grip_speed * np.linspace(1.0, 1.6, 400)])
    exits = throw(task(seed).launcher, chains).exit_speed
    assert exits[0] == pytest.approx(found.grip_exit, rel=1e-3)
    assert exits[1:].max() == pytest.approx(found.grip_exit, rel=2e-3)
    slower = throw(task(seed).launcher, np.array([found.before_a[0], 0.97 * found.grip_speed])).exit_speed
    assert slower < 0.995 * exits[0]


@pytest.mark.parametrize("seed", SEEDS)
def test_sweep_check_and_fit_give_one_grip_limit(seed: int) -> None:
    found, given = swept(seed), task(seed)
    done = throw(given.launcher, np.array([found.before_a[0], 0.8 * (found.grip_speed or np.nan)]))
    assert grip_limits(given.launcher, given.limit_values, done)[1] == pytest.approx(found.grip_speed, rel=1e-3)
    *_, last = chain(known_of(given), 2, finder(given))
    assert last.settings[0, 0] == pytest.approx(found.before_a[0], rel=3e-3)
    assert last.found.wheel_speed[0] == pytest.approx(found.grip_speed, rel=5e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_recommended_speeds_keep_the_grip_margin_of_check(seed: int) -> None:
    given = task(seed)
    settings = np.array([one.wheel_speed for one in recommended_chain(known_of(given), 2)], np.float64)
    done = throw(given.launcher, settings)
    limits = grip_limits(given.launcher, given.limit_values, done)
    point = OperatingPoint(launcher=given.launcher, limit_values=given.limit_values, throw=done, grip_limit=limits)
    judged = evaluate(GRIP_MARGIN, point)
    assert judged is not None
    assert judged.slack > -2e-4


@pytest.mark.parametrize("seed", SEEDS)
def test_plan_throws_as_fast_as_the_recommended_speeds(seed: int) -> None:
    given = task(seed)
    settings = np.array([one.wheel_speed for one in recommended_chain(known_of(given), 2)], np.float64)
    planned = plan(given, draws=0).best
    assert planned is not None
    assert planned.feasible
    assert planned.exit_speed > 0.999 * throw(given.launcher, settings).exit_speed


@pytest.mark.parametrize("seed", SEEDS)
def test_ladder_and_fit_tune_draws_alike(seed: int) -> None:
    stiffness = float(task(seed).launcher.contact.stiffness)
    uncertain = Uncertain(key="contact.stiffness", value=stiffness, standard_uncertainty=0.15 * stiffness)
    given = replace(task(seed), uncertain=(uncertain,))
    lead = np.array([one.wheel_speed for one in recommended_chain(known_of(task(seed)), 2)])
    steps = [TuningStep(scenario=given, parts=(), lead=lead[:count]) for count in (1, 2)]
    tuned = tune(steps, 20, np.random.default_rng(seed), {})()
    assert tuned is not None
    drawn = tuned.draws.values["contact.stiffness"]
    lanes = Ensemble(
        scenario=given, values={"contact.stiffness": drawn}, laws=("falling",) * drawn.size,
        launcher=given.realise({"contact.stiffness": drawn}),
    )  # fmt: skip
    for count, step in enumerate(chain(lanes, 2, finder(given)), 1):
        np.testing.assert_allclose(tuned.exit_speed[count], at(lanes, step.settings)[0][1:], rtol=0.01)

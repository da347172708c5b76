"""Upper bounds: no random setting exceeds them, and plans come close to them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.bounds import bound
from stager.config import load
from stager.constraints import speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.optimise.planner import plan
from stager.physics.chain import Options, throw
from stager.physics.grip_limit import grip_limit
from stager.physics.records import Transit
from tests.optimise.machines import CLOSE, FOAM, GUIDED, HEAVY, HOLLOW, LIGHT, MIXED, PLATEAU, STREAMER, scenario

CONFIGS = Path(__file__).parents[2] / "configs"


def _stiffening(launcher: Launcher, rate: float) -> Launcher:
    return replace(launcher, contact=replace(launcher.contact, stiffening=rate))


CASES = {
    "heavy": scenario(HEAVY, wheel_speed=40.0),
    "constant friction": scenario(PLATEAU, wheel_speed=40.0),
    "hollow ball": scenario(HOLLOW, wheel_speed=30.0),
    "rod": scenario(STREAMER, wheel_speed=40.0),
    "guide that brakes": scenario(GUIDED, wheel_speed=40.0),
    "stages that differ": scenario(MIXED, wheel_speed=45.0),
    "acceleration": scenario(HEAVY, wheel_speed=40.0, acceleration=4000.0),
    "slow wheels": scenario(HEAVY, wheel_speed=15.0),
    "margin": scenario(HEAVY, wheel_speed=40.0, grip_margin=0.05),
    "margin, range ends at the grip limit": scenario(HEAVY, wheel_speed=12.6, grip_margin=0.05, stages=1),
    "margin, hollow": scenario(HOLLOW, wheel_speed=30.0, grip_margin=0.08),
    "disc on rails": scenario(FOAM, wheel_speed=35.0, grip_margin=0.05, stages=2),
    "heat": scenario(HEAVY, wheel_speed=40.0, slip_heat=1.0),
    "energy": scenario(HOLLOW, wheel_speed=30.0, exit_energy=0.1),
    "light wheels": scenario(LIGHT, wheel_speed=45.0),
    "stiffening": scenario(_stiffening(HEAVY, 0.02), wheel_speed=40.0),
    "softening rod": scenario(_stiffening(STREAMER, -0.02), wheel_speed=40.0),
    "stiffening on rails": scenario(_stiffening(FOAM, 0.01), wheel_speed=35.0, grip_margin=0.05, stages=1),
}
SAMPLES = 10_000


@pytest.mark.parametrize("name", CASES)
def test_no_random_setting_exceeds_the_bound(name: str) -> None:
    task = CASES[name]
    found = bound(task, task.limit_values.stages)
    assert found.missing == ""
    reached = _fastest_of_many(task)
    for count, speed in enumerate(found.speeds):
        assert reached[count] <= speed
    assert max(reached) <= found.speed


@pytest.mark.parametrize(
    "name",
    [
        "hollow ball", "rod", "stages that differ", "acceleration", "margin", "margin, range ends at the grip limit",
        "energy",
    ],
)  # fmt: skip
def test_plan_is_close_to_its_bound_under_limits_of_single_stages(name: str) -> None:
    found = plan(CASES[name], draws=0)
    assert found.best is not None
    assert found.bound is not None
    assert -2e-6 <= found.bound.speed / found.best.exit_speed - 1 <= 1e-3


def test_seed_ball_plan_is_within_0_1_percent_of_its_bound() -> None:
    task = load(CONFIGS / "seed_ball.toml").scenario()
    found = plan(task, draws=0)
    assert found.fastest is not None
    assert found.bound is not None
    assert 0 <= found.bound.speed / found.fastest.exit_speed - 1 <= 1e-3


def test_bound_converges_with_its_tolerance() -> None:
    task = CASES["heavy"]
    loose, tight = (bound(task, 3, tolerance=tolerance).speeds for tolerance in (4e-4, 5e-5))
    assert np.array(loose) == pytest.approx(np.array(tight), rel=1.5e-3)
    assert (np.array(loose) >= np.array(tight) * (1 - 1e-4)).all()


def test_bound_rises_with_a_looser_limit() -> None:
    task = CASES["heavy"]
    tops = [
        _speed(replace(task, limit_values=replace(task.limit_values, wheel_speed=top)))
        for top in (8.0, 12.0, 16.0, 20.0)
    ]
    assert (np.diff(tops) > 0).all()


def test_bound_of_a_slow_launcher_is_below_its_cap() -> None:
    task = scenario(replace(HEAVY, feed=replace(HEAVY.feed, speed=0.4)), wheel_speed=0.6, exit_energy=0.005, stages=1)
    found = bound(task, 1)
    assert found.cap < 1.0
    assert 0.4 < found.speed < 0.9 * found.cap


def test_pusher_that_pushes_through_the_first_stage_has_no_bound_but_the_cap() -> None:
    pushed = replace(HEAVY, feed=replace(HEAVY.feed, push=2.0))
    found = bound(scenario(pushed), 1)
    assert "push" in found.missing
    assert found.speed == found.cap


def test_overlapping_stages_have_no_bound_but_the_cap() -> None:
    found = bound(scenario(CLOSE, wheel_speed=40.0, exit_energy=5.0), 2)
    assert found.speed == pytest.approx(np.sqrt(2 * 5.0 / 0.014), rel=1e-5)
    assert "together" in found.missing
    assert len(found.speeds) == 2


def _speed(task: Scenario) -> float:
    return bound(task, 2).speed


def _fastest_of_many(task: Scenario) -> list[float]:
    """Return the greatest feasible exit speed of each number of stages among random settings [m/s]."""
    machine, allowed, rng = task.launcher, task.limit_values, np.random.default_rng(11)
    count = allowed.stages
    tops = np.array([float(speed_range(machine, allowed, k).top) for k in range(count)])
    wheel = rng.uniform(0.15, 1.0, (SAMPLES, count)) * tops
    # Half of them rise from stage to stage, as fast settings do.
    ramp = np.cumsum(rng.uniform(0.2, 1.0, (SAMPLES // 2, count)), axis=1)
    wheel[: SAMPLES // 2] = np.minimum(ramp / ramp[:, -1:] * rng.uniform(0.3, 1.0, (SAMPLES // 2, 1)) * tops, tops)
    done = throw(machine, wheel, options=Options(tolerance=1e-5))
    stages = done.stages
    kept = np.cumsum(stages.slip_heat, axis=1) <= (allowed.slip_heat or np.inf)
    kept &= np.maximum.accumulate(stages.peak_acceleration, axis=1) <= (allowed.acceleration or np.inf)
    kept &= np.logical_and.accumulate(_grips(task, stages, wheel, tops), axis=1)
    kept &= 0.5 * machine.projectile.mass * stages.exit_speed**2 <= allowed.exit_energy
    best = np.where(kept, stages.exit_speed, 0.0).max(axis=0)
    return [float(machine.feed.speed), *(float(speed) for speed in best)]


def _grips(task: Scenario, stages: Transit, wheel: Floats, tops: Floats) -> Floats:
    """Return whether wheels stay below their grip limits, from a table over entry speeds.

    The lower of the two nearest entries counts; it is infinite where exit speed rises to the end of the search.
    """
    margin = task.limit_values.grip_margin
    if not margin:
        return np.ones(wheel.shape, bool)
    kept, radius = np.zeros(wheel.shape, bool), float(task.launcher.projectile.radius)
    for k, top in enumerate(tops):
        entry = stages.entry_speed[:, k]
        table = np.linspace(0.05, entry.max() + 0.1, 120)
        turns = table / radius if (stages.entry_spin[:, k] > 0).any() else np.zeros(120)
        found = grip_limit(task.launcher, k, table, turns, np.full(120, top), margin=margin).wheel_speed
        grips = np.where(np.isnan(found), np.inf, found)
        above = np.clip(np.searchsorted(table, entry), 1, 119)
        kept[:, k] = wheel[:, k] <= (1 - margin) * np.minimum(grips[above], grips[above - 1])
    return kept

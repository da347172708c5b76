"""The recommended wheel speed of a stage: fastest on average, within the limits of nearly every build."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints.limit import JAMS
from stager.constraints.recommend import Recommended, enough_kept, recommend, required_share, safe_settings
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.chain import throw
from stager.physics.friction import Constant, Falling
from tests.drive.machines import ALUMINIUM, launcher, wheel

NONE = np.zeros(0)


def drawn(samples: int, seed: int, crush: float = 0.05, static: float = 0.08) -> Launcher:
    """Return a launcher with drawn crush, friction and mass; sample 0 has the nominal values."""
    rng = np.random.default_rng(seed)
    machine = launcher()

    def values(value: float, spread: float) -> Floats:
        return value * np.append(1.0, 1 + spread * rng.normal(size=samples - 1))

    return replace(
        machine, projectile=replace(machine.projectile, mass=values(0.018, 0.03)),
        template=replace(machine.template, crush=values(4e-3, crush)),
        contact=replace(machine.contact, friction=Falling(values(0.75, static), values(0.22, 0.1), values(9.0, 0.2))),
    )  # fmt: skip


def recommended(
    machine: Launcher, samples: int, grip: float | None = None, top: float = 40.0, **given: Any
) -> Recommended:
    asked = given.pop("asked", None)
    values = LimitValues(**{"exit_energy": 50.0, "wheel_speed": top, **given})
    return recommend(machine, samples, values, (NONE, NONE), grip, asked=asked)


def exit_speeds(machine: Launcher, speed: float, samples: int) -> Floats:
    return throw(machine, np.full((samples, 1), speed)).exit_speed


@pytest.mark.parametrize("energy", [0.5, 0.9])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_hard_limits_hold_in_the_requested_share_of_fresh_builds(energy: float, confidence: float) -> None:
    found = recommended(drawn(401, 1), 401, exit_energy=energy, confidence=confidence)
    assert found.wheel_speed is not None
    assert (found.by, found.draws, found.confidence) == ("exit_energy", 400, confidence)
    fresh = drawn(2001, 99)
    mass = np.asarray(fresh.projectile.mass)
    kept = 0.5 * mass * exit_speeds(fresh, found.wheel_speed, 2001) ** 2 <= energy
    # As much more as 400 draws need, and three standard errors of 2000 fresh ones.
    assert confidence <= kept[1:].mean() <= required_share(confidence, 400) + 0.03


def test_confidence_of_a_half_uses_the_nominal_build() -> None:
    machine = drawn(201, 1)
    found = recommended(machine, 201, exit_energy=0.9, confidence=0.5)
    assert found.wheel_speed is not None
    energy = 0.009 * float(exit_speeds(machine, found.wheel_speed, 201)[0]) ** 2
    assert energy == pytest.approx(0.9, rel=0.01)
    assert energy <= 0.9


def test_recommended_speed_is_fastest_on_average() -> None:
    machine = drawn(101, 3, static=0.15)
    found = recommended(machine, 101)
    assert found.wheel_speed is not None
    assert found.by == "peak"
    grid = np.linspace(5.0, 40.0, 141)
    means = [exit_speeds(machine, float(u), 101)[1:].mean() for u in grid]
    assert found.mean_exit >= (1 - 1.5e-3) * max(means)
    assert found.wheel_speed == pytest.approx(grid[int(np.argmax(means))], abs=0.5)


@pytest.mark.parametrize("stiffer", [1.0, 100.0])
def test_lowest_speed_of_a_plateau_is_recommended(stiffer: float) -> None:
    # Exit speed is constant beyond the grip limit, or rises a little as wheels grow.
    machine = launcher()
    tyre = wheel().tyre
    assert tyre is not None
    rubber = replace(tyre.material, modulus=stiffer * tyre.material.modulus)
    hub = replace(ALUMINIUM, modulus=100 * 70e9)
    machine = launcher(tyre=replace(tyre, material=rubber) if stiffer > 1 else None, material=hub)
    friction = Constant(0.4)
    flat = replace(machine, contact=replace(machine.contact, friction=friction, rail_friction=friction))
    found = recommended(flat, 1)
    assert found.wheel_speed is not None
    assert found.wheel_speed < 30.0
    best, nearly = float(exit_speeds(flat, 40.0, 1)[0]), 2e-4
    assert float(exit_speeds(flat, found.wheel_speed, 1)[0]) >= (1 - nearly) * best - 1e-9
    assert float(exit_speeds(flat, 0.97 * found.wheel_speed, 1)[0]) < (1 - nearly) * best


def test_grip_margin_is_kept() -> None:
    found = recommended(drawn(101, 3), 101, grip=12.0, grip_margin=0.05)
    assert found.wheel_speed is not None
    assert found.wheel_speed <= 0.95 * 12.0
    assert found.by in ("grip_margin", "peak")


def test_recommended_speed_does_not_exceed_the_goal() -> None:
    machine = drawn(101, 3)
    found = recommended(machine, 101, asked=8.0)
    assert found.wheel_speed is not None
    assert found.by == "goal"
    assert 8.0 * (1 - 3e-4) <= found.exit_speed <= 8.0


def test_no_recommendation_if_many_builds_break_a_limit_at_any_speed() -> None:
    machine = drawn(201, 3)
    machine = replace(machine, projectile=replace(machine.projectile, max_crush=4.1e-3))
    found = recommended(machine, 201)
    assert found.wheel_speed is None
    assert found.by == "crush"
    assert 0.2 < found.broken < 0.5  # 4.0 +- 0.2 mm beyond 4.1 mm: 31 of 100
    assert "crush" in found.reason
    assert not safe_settings(machine, 201, LimitValues(exit_energy=50.0), np.array([[8.0]])).any()


@pytest.mark.parametrize("by, bound", [("peak_power", 1.0), ("supply_current", 0.1), ("slip_heat", 1e-9)])
def test_no_recommendation_names_the_limit_that_no_speed_keeps(by: str, bound: float) -> None:
    # Wheels so slow that the drives would keep their limits jam the projectile.
    for samples in (1, 51):
        found = recommended(drawn(samples, 3), samples, **{by: bound})
        assert found.wheel_speed is None
        assert found.by == by
        # Builds are counted for hard limits alone.
        assert found.broken == float(by == "supply_current")
        assert (found.exit_speed, found.mean_exit, found.kept) == (0.0, 0.0, 0.0)
        assert (found.draws, found.confidence) == (samples - 1, 0.95)


@pytest.mark.parametrize("samples", [1, 51])
def test_a_launcher_that_always_jams_breaks_no_limit(samples: int) -> None:
    machine = drawn(samples, 3)
    slippery = replace(machine.contact, friction=Constant(0.02))
    found = recommended(replace(machine, contact=slippery), samples)
    assert (found.wheel_speed, found.by) == (None, JAMS)
    assert found.reason == "No wheel speed gets the projectile through."


@pytest.mark.parametrize("samples", [1, 51])
def test_limit_that_only_jams_keep_is_the_one_that_is_named(samples: int) -> None:
    # A slow wheel jams the projectile, which then has no exit speed.
    found = recommended(drawn(samples, 3), samples, exit_speed=0.01)
    assert (found.wheel_speed, found.by) == (None, "exit_speed")
    assert found.broken > 0.5


def test_safe_settings_satisfy_the_same_limits() -> None:
    machine = drawn(401, 5)
    values = LimitValues(exit_energy=0.9)
    best = recommend(machine, 401, values, (NONE, NONE), None).wheel_speed
    assert best is not None
    around = best * np.array([[0.6], [0.99], [1.05], [1.4]])
    mostly, whole = (safe_settings(machine, 401, values, around, whole=every) for every in (False, True))
    assert mostly.tolist()[:3] == [True, True, False]
    assert whole[0]
    assert not (whole & ~mostly).any()


def test_slip_heat_limit_holds_in_the_nominal_build() -> None:
    machine = drawn(51, 5)
    free, bound = recommended(machine, 51), recommended(machine, 51, slip_heat=0.1)
    assert free.wheel_speed is not None
    assert bound.wheel_speed is not None
    assert bound.wheel_speed < free.wheel_speed
    nominal = throw(machine, np.full((51, 1), bound.wheel_speed))
    assert float(nominal.stages.slip_heat[0].sum()) <= 0.1 * (1 + 1e-6)


def test_required_share_of_draws_exceeds_the_confidence() -> None:
    assert 0.95 < required_share(0.95, 1000) < required_share(0.95, 100) <= 0.99
    kept = np.ones((2, 101), bool)
    kept[1, 1:11] = False
    assert enough_kept(kept, 0.95).tolist() == [True, False]
    assert enough_kept(kept, 0.5).tolist() == [True, True]


@pytest.mark.parametrize("given", [{}, {"exit_energy": 0.9}, {"grip": 12.0, "grip_margin": 0.05}, {"asked": 8.0}])
def test_reason_is_one_sentence(given: dict[str, Any]) -> None:
    reason = recommended(drawn(101, 3), 101, **given).reason
    assert reason.endswith(".")
    assert reason.count(". ") == 0


def test_required_share_is_three_standard_errors_of_both_samples_above_the_confidence() -> None:
    # Two binomial shares, of the draws at hand and of 2000 fresh ones; at most one draw short of all.
    for confidence, draws in ((0.8, 400), (0.9, 1000), (0.95, 50)):
        error = np.sqrt(confidence * (1 - confidence) * (1 / draws + 1 / 2000))
        assert required_share(confidence, draws) == pytest.approx(min(confidence + 3 * error, 1 - 1 / draws))
        assert required_share(confidence, draws, 1.0) == pytest.approx(min(confidence + error, 1 - 1 / draws))


REASONS: dict[str, dict[str, Any]] = {
    "A faster wheel throws slower.": {"by": "peak"},
    "A faster wheel throws slower on average over what is not known.": {"by": "peak", "draws": 100},
    "It gives the exit speed that is asked for.": {"by": "goal"},
    "It is 7.5 % below the grip limit, as limits.grip_margin asks.": {"by": "grip_margin", "grip_margin": 0.075},
    "It is the end of the speed range that was searched.": {"by": "range"},
    "A faster one would break exit energy.": {"by": "exit_energy"},
    "A faster one would break exit energy in more than 10 of 100 builds.": {"by": "exit_energy", "draws": 100},
    "No wheel speed keeps the limits: it breaks crush.": {"by": "crush", "wheel_speed": None, "broken": 0.31},
    "No wheel speed keeps the limits in 90 of 100 builds: 31 break crush.": {
        "by": "crush", "wheel_speed": None, "broken": 0.31, "draws": 100,
    },
    # These are judged in the nominal launcher alone, the last one by throws at a rate.
    "A faster one would break slip heat.": {"by": "slip_heat", "draws": 100},
    "A faster one would break peak power.": {"by": "peak_power", "draws": 100},
    "No wheel speed keeps the limits: it breaks slip heat.": {"by": "slip_heat", "wheel_speed": None, "draws": 100},
    "No wheel speed keeps the limits: it breaks winding temperature.": {
        "by": "winding_temperature", "wheel_speed": None, "draws": 100,
    },
}  # fmt: skip


@pytest.mark.parametrize("sentence", REASONS)
def test_reason_says_what_a_faster_wheel_would_do(sentence: str) -> None:
    given: dict[str, Any] = {"wheel_speed": 10.0, "draws": 0, "confidence": 0.9, **REASONS[sentence]}
    assert Recommended(**given).reason == sentence
    if given["draws"] and " builds" in sentence:  # At a confidence of a half the nominal build alone decides.
        assert " builds" not in Recommended(**{**given, "confidence": 0.5}).reason

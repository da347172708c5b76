"""Plans with a spin goal against brute force over both wheel speeds."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.model.requirements import Aim, Goal
from stager.optimise import robust
from stager.optimise.parts import BestDesign
from stager.optimise.planner import plan
from stager.optimise.records import Plan
from stager.optimise.spin import SPIN_WITHIN, most_spin, sides, way_of
from stager.physics.chain import Options, throw, transit
from stager.physics.records import Throw
from tests.optimise.brute_force_spin import fastest_pair
from tests.optimise.machines import HEAVY, HOLLOW, PLATEAU, scenario

TURN, TOP, WITHIN = 2 * np.pi, 40.0, 3e-3
SPIN = 20 * TURN
CLOSE = Options(tolerance=1e-6)


def _task(machine: Launcher, spin: float = SPIN, *, speed: float | None = None, **limits: Any) -> Scenario:
    goal = Goal(aim=Aim.FASTEST if speed is None else Aim.REACH, exit_speed=speed, spin=spin)
    return scenario(machine, goal, **{"wheel_speed": TOP, **limits})


def _sides(task: Scenario, lead: Floats) -> tuple[Floats, Floats]:
    side_a, side_b = sides(way_of(task.launcher, task.limit_values, task.goal.spin), task.launcher, lead, CLOSE)
    assert side_b is not None
    return side_a, side_b


def _exits(task: Scenario, done: Throw) -> Floats:
    """Return exit speeds [m/s] of throws with the goal's spin, 0 of others."""
    turned = np.abs(done.spin / (task.goal.spin or 1.0) - 1) < SPIN_WITHIN
    return np.where(turned & ~done.jammed, done.exit_speed, 0.0)


FREE = {"falling friction": (_task(HEAVY, stages=2), 2), "constant friction": (_task(PLATEAU, 35 * TURN, stages=1), 1)}
PLANS: dict[str, Plan] = {}


def _planned(name: str) -> tuple[Scenario, Plan]:
    task = FREE[name][0]
    if name not in PLANS:
        PLANS[name] = plan(task, draws=0)
    return task, PLANS[name]


@pytest.mark.parametrize("name", FREE)
def test_every_stage_count_is_as_fast_as_brute_force_at_its_spin(name: str) -> None:
    task, found = _planned(name)
    spin, entry = task.goal.spin or 0.0, (float(task.launcher.feed.speed), 0.0)
    for index in range(FREE[name][1]):
        reached = fastest_pair(task.launcher, index, entry, spin, TOP)
        assert found.ladder[index + 1].exit_speed.nominal == pytest.approx(reached, rel=WITHIN)
        entry = reached, spin
    best = found.fastest
    assert best is not None
    done = throw(task.launcher, best.wheel_speed, best.wheel_speed_b)
    assert float(done.spin) == pytest.approx(spin, rel=SPIN_WITHIN)
    assert float(done.exit_speed) == pytest.approx(best.exit_speed, rel=1e-4)
    assert max(best.wheel_speed.max(), best.beside.max()) <= TOP * (1 + 1e-9)


@pytest.mark.parametrize("share", [0.0, 0.6, 1.2])
def test_other_spin_after_the_first_stage_is_not_faster(share: float) -> None:
    # The first stage may leave with another share of the spin.
    _, found = _planned("falling friction")
    if share:
        first = fastest_pair(HEAVY, 0, (1.2, 0.0), share * SPIN, TOP)
    else:
        first = float(transit(HEAVY, 0, 1.2, np.linspace(8.0, TOP, 400)).exit_speed.max())
    assert fastest_pair(HEAVY, 1, (first, share * SPIN), SPIN, TOP) < found.ladder[2].exit_speed.nominal


def test_wheel_speeds_2_r_spin_apart_keep_the_spin_at_the_mean_speed() -> None:
    # The slips u_A − v cos φ − rΩ and u_B − v cos φ + rΩ are equal, so without drives both sides act alike.
    mean, half = np.linspace(12.0, 30.0, 25), 0.019 * SPIN
    apart = transit(HEAVY, 1, 11.0, mean + half, mean - half, entry_spin=SPIN, options=CLOSE)
    alike = transit(HEAVY, 1, 11.0, mean, options=CLOSE)
    np.testing.assert_allclose(apart.exit_spin, SPIN, rtol=1e-9)
    np.testing.assert_allclose(apart.exit_speed, alike.exit_speed, rtol=1e-5)


def test_opposite_spin_mirrors_the_plan() -> None:
    task, best = _planned("falling friction")[0], _planned("falling friction")[1].fastest
    assert best is not None
    mirrored = replace(task, goal=replace(task.goal, spin=-SPIN))
    side_a, side_b = _sides(mirrored, best.lead)
    np.testing.assert_allclose(side_a, best.beside, rtol=1e-5)
    np.testing.assert_array_equal(side_b, best.wheel_speed)
    done = throw(HEAVY, side_a, side_b, options=CLOSE)
    assert float(done.spin) == pytest.approx(-SPIN, rel=1e-5)
    assert float(done.exit_speed) == pytest.approx(best.exit_speed, rel=1e-5)


def test_zero_spin_gives_the_plan_without_spin() -> None:
    task = _task(HEAVY, 0.0, stages=1)
    asked, plain = plan(task, draws=0), plan(replace(task, goal=Goal(aim=Aim.FASTEST)), draws=0)
    assert asked.best is not None
    assert plain.best is not None
    assert asked.best.wheel_speed_b is None
    assert asked.best.wheel_speed.tolist() == plain.best.wheel_speed.tolist()
    assert asked.bound == plain.bound


def test_grip_margin_and_heat_count_both_wheels() -> None:
    task = _task(HEAVY, stages=2, grip_margin=0.05, slip_heat=1.1)
    best = plan(task, draws=0).fastest
    assert best is not None
    assert best.feasible
    used = {verdict.name: float(verdict.value) for verdict in best.verdicts}
    assert used["slip_heat"] == pytest.approx(1.1, rel=1e-3)
    grid = np.stack(np.meshgrid(np.linspace(7.0, 14.0, 24), np.linspace(9.0, 21.0, 41)), axis=-1)
    done = throw(HEAVY, *_sides(task, grid), options=CLOSE)
    reached = np.where(done.stages.slip_heat.sum(-1) <= 1.1, _exits(task, done), 0.0).max()
    assert best.exit_speed > reached * (1 - WITHIN)
    # Grip limit by its definition: sweep the faster wheels at the same spin, earlier stages as planned.
    for k in range(2):
        lead = np.tile(best.lead[: k + 1], (300, 1))
        lead[:, k] = np.linspace(0.7, 1.6, 300) * best.lead[k]
        side_a, side_b = _sides(task, lead)
        exits = _exits(task, throw(HEAVY, side_a, side_b, options=CLOSE))
        first = int(np.argmax(exits >= 0.999 * exits.max()))
        assert best.grip_limit[k] == pytest.approx(lead[first, k], rel=4e-3)
        # The slower wheel is farther from its limit.
        assert best.beside[k] / side_b[first, k] < best.lead[k] / lead[first, k] <= 0.95 * (1 + 4e-3)


def test_goal_speed_at_a_spin_is_reached_with_fewest_stages() -> None:
    found = plan(_task(HEAVY, stages=2, grip_margin=0.05, speed=13.0), draws=0)
    assert found.ladder[1].exit_speed.nominal < 13.0 * (1 - WITHIN)
    assert found.fastest is not None
    assert found.fastest.count == 2
    assert found.fastest.exit_speed == pytest.approx(13.0, rel=5e-4)
    assert float(found.fastest.throw.spin) == pytest.approx(SPIN, rel=SPIN_WITHIN)


def test_unreachable_spin_is_reported_with_the_greatest_one() -> None:
    missed = plan(_task(HOLLOW, 120 * TURN, stages=1, grip_margin=0.05), draws=0).missed
    assert missed is not None
    assert not missed.proven
    side_a, side_b = np.meshgrid(np.linspace(4.0, TOP, 60), np.linspace(0.0, 10.0, 30))
    done = transit(HOLLOW, 0, 0.8, side_a, side_b, options=CLOSE)
    most = np.where(done.jammed, 0.0, done.exit_spin).max()
    assert most_spin(HOLLOW, TOP) == pytest.approx(most, rel=0.02)
    assert f"{most_spin(HOLLOW, TOP) / TURN:.3g} rev/s at most" in missed.reason


def test_spin_plan_has_no_bound_but_the_cap() -> None:
    found = _planned("falling friction")[1]
    assert found.bound is not None
    assert found.bound.missing == "pairs at two speeds"
    assert found.bound.speed == found.bound.cap


def test_robust_settings_keep_the_spin_in_the_nominal_build(monkeypatch: pytest.MonkeyPatch) -> None:
    task, best = FREE["falling friction"][0], _planned("falling friction")[1].fastest
    assert best is not None

    def realise(values: Any) -> Launcher:
        return replace(HEAVY, projectile=replace(HEAVY.projectile, mass=values["projectile.mass"]))

    monkeypatch.setattr(robust, "CHOSEN_ON", 12)
    monkeypatch.setattr(robust, "JUDGED_ON", 24)
    unsure = Uncertain(key="projectile.mass", value=0.018, standard_uncertainty=0.001, low=0.0)
    row = BestDesign(best.count, replace(task, uncertain=(unsure,), realise=realise), (), None, best)
    found = robust.robust(row, np.random.default_rng(0))
    assert found is not None
    assert found.settings.turns
    assert found.low >= found.low_before * (1 - 1e-9)

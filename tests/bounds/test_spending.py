"""Upper bounds under slip heat that stages share: against throws, a problem solved by hand, and dense sampling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.bounds import bound, shared, shared_budget
from stager.bounds.bound_chain import top_of
from stager.bounds.entry_sets import Cells, Enclosed, margins
from stager.bounds.shared_budget import Asked, _ends, _pairs, _tops, begin, within
from stager.bounds.stages import heated_pair, pair_ceiling
from stager.bounds.traction import least_lost, sample, traction_of
from stager.config import load
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import Aim, Goal
from stager.model.stage import RAIL, Drive
from stager.optimise.planner import plan
from stager.physics.chain import Options, throw, transit
from stager.physics.friction import Constant, Falling, Tabulated
from stager.physics.grip_limit import grip_limit
from tests.optimise.machines import HEAVY, HOLLOW, LIGHT, MIXED, PLATEAU, SEED, STREAMER, launcher, scenario, stage

CONFIGS = Path(__file__).parents[2] / "configs"
EVEN = launcher(SEED, stage(inertia=0.5 * SEED.mass * 0.04**2))
CLOSE = Options(tolerance=1e-9)
CASES = {
    "heavy": scenario(HEAVY, wheel_speed=40.0, slip_heat=1.2),
    "half the mass": scenario(EVEN, wheel_speed=45.0, slip_heat=3.0),
    "stages that differ": scenario(MIXED, wheel_speed=45.0, slip_heat=2.0, stages=2),
    "rod": scenario(STREAMER, wheel_speed=40.0, slip_heat=0.35, stages=2),
    "margin": scenario(HEAVY, wheel_speed=40.0, slip_heat=1.2, grip_margin=0.05),
}
"""Scenarios whose slip-heat limit is active."""


@pytest.mark.parametrize("name", CASES)
def test_plan_is_close_below_its_bound_under_shared_slip_heat(name: str) -> None:
    task = CASES[name]
    found = plan(task, draws=0)
    assert found.best is not None
    assert found.bound is not None
    assert "slip_heat" in found.binding
    gap = found.bound.speed / found.best.exit_speed - 1
    free = bound(task, task.limit_values.stages).speed / found.best.exit_speed - 1
    assert 0 <= gap <= 3e-3 + 1e-9
    assert free > 2 * gap


def test_no_random_setting_within_the_heat_exceeds_the_bound() -> None:
    budget, rng = 1.5, np.random.default_rng(5)
    task = scenario(EVEN, wheel_speed=45.0, slip_heat=budget, stages=2)
    done = throw(task.launcher, rng.uniform(4.0, 45.0, (10_000, 2)), options=Options(tolerance=1e-5))
    kept = ~done.jammed & (done.stages.slip_heat.sum(axis=-1) <= budget)
    fastest = float(done.exit_speed[kept].max())
    # The target is far below the greatest speed, so the search stops at its limit of cells.
    known = bound(task, 2)
    for most in (600, 2_000):
        found = shared(task, known, 0.7 * fastest, 2, most=most)
        assert found.speed >= fastest


def test_slip_heat_excludes_fewer_stages_for_a_goal() -> None:
    task = CASES["half the mass"]
    two = plan(replace(task, limit_values=replace(task.limit_values, stages=2)), draws=0, certified=False).best
    assert two is not None
    speed = 1.02 * two.exit_speed
    asked = replace(task, goal=Goal(aim=Aim.REACH, exit_speed=speed))
    known = bound(asked, 3)
    assert known.speeds[2] > speed
    assert shared(asked, known, speed, 3).speeds[2] < speed


def test_bound_is_unchanged_without_a_limit_or_a_gap() -> None:
    task = CASES["half the mass"]
    known = bound(task, 3)
    assert shared(task, known, known.speed, 3) == known
    free = replace(task, limit_values=replace(task.limit_values, slip_heat=None))
    assert shared(free, known, 1.0, 3) == known


def test_shared_bound_of_more_stages_than_bounded() -> None:
    # Bounds end at the number of stages that reaches the cap.
    task = CASES["half the mass"]
    known = replace(bound(task, 1), asked=10.0)
    assert len(known.speeds) == 2
    assert 10.0 < shared(task, known, 10.0, 3, most=600).speeds[1] < known.speeds[1]


def test_bound_rises_with_the_slip_heat_limit() -> None:
    task = CASES["half the mass"]
    known, reached = bound(task, 2), 13.0
    tops = [
        shared(
            replace(task, limit_values=replace(task.limit_values, slip_heat=heat)), known, reached, 2, most=600
        ).speed
        for heat in (1.5, 2.5, 4.0)
    ]
    assert (np.diff(tops) >= 0).all()
    assert tops[-1] > tops[0] * 1.02


@pytest.mark.parametrize("count", [1, 2, 4])
def test_shared_budget_of_a_problem_solved_by_hand(count: int) -> None:
    # Each stage adds its wheel speed and makes heat equal to its square, so n stages with budget H add at most √(n H).
    def evaluate(asked: Sequence[Asked]) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        return [(one.low + one.wheel_low, one.high + one.wheel_high, one.wheel_low**2) for one in asked]

    edges, one = np.linspace(0.0, 12.0, 17), np.array([1.0])
    slices = [(one, one)] + [(edges[:-1], edges[1:])] * (count - 1)
    floors = begin(slices, [np.tile(np.linspace(0.0, 3.0, 17), (low.size, 1)) for low, _ in slices], evaluate)
    best = 1.0 + np.sqrt(count * 4.0)
    assert within(floors, evaluate, 4.0, 1.002 * best, 10**6) == 1.002 * best
    assert within(floors, evaluate, 4.0, 0.98 * best, 10**5) >= best


@pytest.mark.parametrize("machine", [HEAVY, LIGHT, PLATEAU, HOLLOW, STREAMER, EVEN], ids=lambda _: "")
def test_slip_heat_of_throws_is_at_least_that_of_their_cell(machine: Launcher) -> None:
    # Cells of all widths are integrated in one batch.
    rng, count, inside, width = np.random.default_rng(2), 72, 10, np.repeat([0.0, 0.05, 0.5], 24)
    low = np.stack([rng.uniform(0.5, 15.0, count), np.zeros(count), rng.uniform(2.0, 40.0, count)])
    cells = Cells(low, low + width * np.array([[1.0], [0.0], [1.0]]), np.zeros(count, np.intp))
    enclose = heated_pair(machine, machine.stage(0))
    (_, coarse), (_, fine) = enclose(cells, 96), enclose(cells, 192)
    share = width * rng.uniform(0.0, 1.0, (2, inside, count))
    done = transit(machine, 0, low[0] + share[0], low[2] + share[1], options=CLOSE)
    heat = np.where(done.jammed, np.inf, done.slip_heat)
    assert (heat >= fine - np.abs(fine - coarse) - 1e-9).all()
    clear = (width == 0.0) & ~done.jammed.any(axis=0) & (done.exit_speed[0] > 1.0)
    assert clear.sum() > 6
    assert fine[clear] == pytest.approx(heat[0, clear], rel=0.02, abs=2e-3)


def test_no_throw_exceeds_its_energy_ceiling() -> None:
    rng = np.random.default_rng(4)
    for machine in (LIGHT, EVEN, HOLLOW, STREAMER, MIXED):
        entry, wheel = rng.uniform(0.2, 20.0, 200), rng.uniform(1.0, 45.0, 200)
        at = np.stack([entry, entry, wheel])
        most = pair_ceiling(machine, machine.stage(0))(Cells(at, at, np.zeros(200, np.intp)))
        assert (transit(machine, 0, entry, wheel).exit_speed <= most).all()


def test_energy_ceiling_counts_that_of_the_wheels_unless_motors_drive_them() -> None:
    motor = Drive(speed_constant=100.0, resistance=1e-4, no_load_current=0.0, current_limit=1e3)
    driven = replace(LIGHT, template=replace(LIGHT.template, drive=motor))
    entry, wheel = np.full(20, 2.0), np.linspace(20.0, 45.0, 20)
    at = np.stack([entry, entry, wheel])
    coasting, pulled = (
        (
            transit(machine, 0, entry, wheel).exit_speed,
            pair_ceiling(machine, machine.stage(0))(Cells(at, at, np.zeros(20, np.intp))),
        )
        for machine in (LIGHT, driven)
    )
    for exits, most in (coasting, pulled):
        assert (exits <= most).all()
    # Both wheels together weigh 5 g beside 18 g: they cannot bring the projectile to their speed.
    assert (coasting[1] < 0.6 * wheel).all()
    assert (pulled[0] > coasting[1]).any()


@pytest.mark.parametrize(
    "law", [Constant(0.4), Falling(0.9, 0.05, 1.5, 2.0), Tabulated((0.5, 2.0, 4.0, 7.0), (0.5, 0.9, 0.3, 0.1))],
    ids=["constant", "steep", "table"],
)  # fmt: skip
def test_least_loss_is_that_of_dense_samples(law: object) -> None:
    traction = traction_of(law, 0.2)  # type: ignore[arg-type]
    slips = np.linspace(0.0, 60.0, 60_001)
    friction, at = np.empty(slips.size), np.random.default_rng(1).integers(0, 30_000, 500)
    sample(traction.number, traction.values, 0.2, slips, friction)
    least = np.minimum.accumulate((friction * slips)[::-1])[::-1]
    found = np.array([least_lost(traction, slip) for slip in slips[at]])
    assert (found <= least[at] + 1e-12).all()
    assert found == pytest.approx(least[at], rel=2e-3, abs=1e-6)


def test_grip_margins_hold_for_every_entry_speed_of_a_slice() -> None:
    task: Scenario = load(CONFIGS / "seed_ball.toml").scenario()
    machine, rng = task.launcher, np.random.default_rng(8)
    most = margins(machine, 1, 25.0, 60.0, 0.05)
    low = rng.uniform(1.0, 24.0, 40)
    width = rng.uniform(0.0, 1.0, 40)
    entry = low + rng.uniform(0.0, 1.0, 40) * width
    limit = grip_limit(machine, 1, entry, np.zeros(40), np.full(40, 60.0)).wheel_speed
    assert (np.where(np.isnan(limit), 60.0, 0.95 * limit) <= most(low, low + width) * (1 + 1e-9)).all()
    assert most(entry, entry) == pytest.approx(np.where(np.isnan(limit), 60.0, 0.95 * limit), rel=0.02)


@pytest.mark.parametrize("rails", [(0,), (1,), (2,), (0, 1, 2), ()], ids=str)
def test_shared_budget_is_for_pairs_up_to_the_last_stage_asked_for(rails: tuple[int, ...]) -> None:
    stages = tuple(replace(HEAVY.template, layout=RAIL) if k in rails else HEAVY.template for k in range(3))
    task = scenario(replace(HEAVY, stages=stages))
    for count in range(1, 4):
        assert _pairs(task, count) == (not any(k < count for k in rails))
        assert not _pairs(replace(task, goal=replace(task.goal, spin=20.0)), count)


@pytest.mark.parametrize("margin", [0.0, 0.05])
def test_wheels_under_a_shared_budget_turn_up_to_their_own_greatest_speed(margin: float) -> None:
    task = scenario(MIXED, wheel_speed=20.0, grip_margin=margin)
    low = np.linspace(0.0, 14.0, 30)
    for index, top in enumerate(_tops(task, (1.2, 9.0, 15.0))):
        found = top(low, low + 0.5)
        assert found.shape == low.shape
        assert found.max() == top_of(task, index)
        assert (found < top_of(task, index)).any() == (margin > 0.0)


ENDS = {
    # name: width, step error at one step [m/s], steps from which it passes, and is within the acceleration; steps taken
    "wide": (5.0, 1e3, 0, 0, (12, 24)),
    "narrow and even": (0.1, 10.0, 0, 0, (12, 24)),
    "narrow and rough": (0.1, 200.0, 0, 0, (12, 24, 48)),
    "never even": (0.1, 1e6, 0, 0, (12, 24, 48, 96)),
    "wide, passes late": (5.0, 10.0, 48, 0, (12, 24, 48)),
    "narrow, passes late": (0.1, 10.0, 48, 0, (12, 24, 48, 96)),
    "jams": (0.1, 10.0, 1000, 0, (12, 24, 48)),
    "hard": (5.0, 10.0, 0, 1000, (12, 24)),
    "hard by coarse steps": (5.0, 10.0, 0, 24, (12, 24)),
    "hard by coarse steps, rough": (0.1, 200.0, 0, 48, (12, 24, 48)),
}


def test_ends_of_cells_hold_what_finer_steps_would_find(monkeypatch: pytest.MonkeyPatch) -> None:
    width, error, passes, soft = np.array([row[:4] for row in ENDS.values()]).T
    taken: list[list[int]] = [[] for _ in ENDS]

    def heated(machine: Launcher, stage: object) -> object:
        def enclose(cells: Cells, steps: int) -> tuple[Enclosed, np.ndarray]:
            which, through = cells.group, steps >= passes[cells.group]
            for each in which:
                taken[each].append(steps)
            off = error[which] / steps**2
            high, low = np.where(through, 10.0 + off, 0.0), np.where(through, 9.0 + off, 0.0)
            strain = np.where(steps < soft[which], 2e3, 500.0)
            return Enclosed(low, high, low, high, low, high, strain), np.where(through, 1.0 + off, 0.0)

        return enclose

    monkeypatch.setattr(shared_budget, "heated_pair", heated)
    wheel = np.full(width.size, 20.0)
    places = np.stack([wheel, wheel, wheel])
    cells = Cells(places, places + np.stack([0 * width, 0 * width, width]), np.arange(width.size))
    low, high, heat = _ends(HEAVY, HEAVY.stage(0), cells, 1e3)
    assert [tuple(steps) for steps in taken] == [row[4] for row in ENDS.values()]
    # Nothing passes where all lengths of steps agree on that, and then only.
    shut = np.array([name in ("jams", "hard") for name in ENDS])
    assert np.isinf(heat).tolist() == shut.tolist()
    assert (heat[~shut] <= 1.0).all()
    assert (heat >= 0.0).all()
    assert ((low <= 9.0) & (low >= 0.0)).all()
    assert (high >= 10.0).all()
    assert (high[~shut] < np.inf).all()
    close = error <= 10.0
    assert (high[close & ~shut & (passes == 0)] < 10.1).all()
    assert (low[close & ~shut & (passes == 0)] > 8.9).all()
    assert (heat[close & ~shut & (passes == 0)] > 0.9).all()

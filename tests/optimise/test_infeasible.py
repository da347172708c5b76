"""Infeasible goals: conflicts and relaxations, checked by planning again with them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from stager.constraints import broken_by
from stager.model.launcher import Scenario
from stager.model.requirements import Aim, Goal, ToyLimit
from stager.model.stage import Drive, Supply
from stager.optimise import relaxation
from stager.optimise.clock import Clock
from stager.optimise.judge import settings_at
from stager.optimise.parts import BestDesign
from stager.optimise.planner import plan
from stager.optimise.problem import NO_MARGINS
from stager.optimise.records import Missed
from stager.optimise.relaxation import OUT_OF_REACH, _hopeless, _outward, _Reach, explain, one_more
from tests.optimise.machines import HEAVY, SEED, doubtful, launcher, scenario, stage
from tests.optimise.solved import best_of, solved, with_limits, without


def _reach(speed: float, **limits: float) -> Scenario:
    return scenario(HEAVY, Goal(aim=Aim.REACH, exit_speed=speed), **{"stages": 2, **limits})


def _missed(task: Scenario) -> Missed:
    found = plan(task, draws=0)
    assert found.best is None
    assert found.missed is not None
    return found.missed


HEAT = _reach(15.0, slip_heat=1.0)
CAP_AND_HEAT = _reach(15.0, slip_heat=1.0, exit_speed=14.0)
SHORT = _reach(20.0, length=0.2)


@cache
def _missed_under_heat() -> Missed:
    return _missed(HEAT)


def test_relaxation_of_one_limit_makes_the_goal_feasible() -> None:
    missed = _missed_under_heat()
    assert missed.conflict == ("slip_heat", "stages")
    assert missed.proven
    assert best_of(without(HEAT, ["slip_heat"])) is not None
    heat = next(item.needed for item in missed.relaxations if item.name == "slip_heat")
    assert heat is not None
    assert best_of(with_limits(HEAT, {"slip_heat": heat})) is not None
    assert best_of(with_limits(HEAT, {"slip_heat": 1 + 0.95 * (heat - 1)})) is None


def test_limits_that_allow_what_counts_as_reached_prove_nothing() -> None:
    # A speed counts as reached at 0.05 % less: what holds it back here is the slip heat.
    rows = solved(_reach(15.0, slip_heat=1.0, exit_speed=14.9955))
    for bound in (None, 14.9955):
        missed = explain(rows, NO_MARGINS, bound, Clock.of(0.0))
        assert not missed.proven
        assert missed.reason.startswith("No design found that reaches 15 m/s, which does not prove that none exists")


def test_a_feed_faster_than_asked_needs_only_the_limits_that_it_breaks() -> None:
    # Search reached the speed under any limits, and each was called too tight.
    missed = _missed(_reach(1.0, exit_speed=1e-3))
    assert missed.conflict == ("exit_speed",)
    assert [one.needed for one in missed.relaxations] == [float(HEAVY.feed.speed)]
    assert plan(_reach(1.0, exit_speed=float(HEAVY.feed.speed)), draws=0, certified=False).best is not None


def test_wording_of_an_unproven_infeasibility() -> None:
    rows = solved(HEAT)

    def said(bound: float) -> Missed:
        # Time is up, so that conflicts are not searched for.
        return explain(rows, NO_MARGINS, bound, Clock.of(0.0), proven=False)

    assert not said(14.99).proven
    assert said(14.99).reason.startswith("No design found that reaches 15 m/s, and almost proven that none exists; ")
    # A bound at or above the speed says nothing.
    for bound in (15.0, 15.5):
        assert "does not prove" in said(bound).reason


def test_relaxation_of_two_conflicting_limits() -> None:
    missed = _missed(CAP_AND_HEAT)
    assert missed.proven
    assert {"exit_speed", "slip_heat"} <= set(missed.conflict)
    assert all(item.needed is None for item in missed.relaxations)
    together = {item.name: item.together for item in missed.relaxations if item.together is not None}
    assert best_of(with_limits(CAP_AND_HEAT, together)) is not None


def test_relaxation_of_stages_and_length() -> None:
    missed = _missed(SHORT)
    assert missed.conflict == ("stages", "length")
    together = {item.name: item.together for item in missed.relaxations}
    assert together["stages"] is not None
    wider = with_limits(SHORT, {name: value for name, value in together.items() if value})
    again = best_of(wider)
    assert again is not None
    assert again.count == together["stages"]
    assert again.length == pytest.approx(together["length"], abs=1e-3)


def test_stages_are_added_one_by_one_as_most_of_them_need_not_throw_fastest(monkeypatch: pytest.MonkeyPatch) -> None:
    # Each stage takes its share of power, current or heat: here four stages are the fastest.
    speeds = dict(enumerate((10.0, 14.0, 17.0, 18.0, 16.0, 13.0, 11.0, 9.0), start=1))

    def explored(problem: Any, *starts: Any, **options: Any) -> Any:
        return SimpleNamespace(violation=[0.0], exit_speed=[speeds[problem.count]], jammed=[True])

    monkeypatch.setattr(relaxation, "explore", explored)
    given = scenario(HEAVY, stages=7)
    bare = BestDesign(0, given, (), None, settings_at(given, np.zeros(0)))
    for asked, fastest in ((9.0, 10.0), (16.5, 17.0), (17.9, 18.0), (30.0, 18.0)):
        speed, _, problem = _Reach(given, [bare], bare, asked, NO_MARGINS, Clock()).best({})
        assert speed == fastest
        assert problem is not None
        assert speeds[problem.count] == fastest


def test_what_cannot_be_reached_is_not_searched_for(monkeypatch: pytest.MonkeyPatch) -> None:
    # ½ · 18 g · (15 m/s)² = 2.025 J is more than 1 J, and one stage is less than the two that it takes at 2.5 J.
    sought: list[bool] = []

    def best(reach: _Reach, margins: Any, *, near: int = 0) -> tuple[float, None, Any]:
        free = all(name in margins for name in reach.bounds)
        sought.append(free)
        return 15.0, None, SimpleNamespace(count=2)

    monkeypatch.setattr(_Reach, "best", best)
    for energy, stages, enough in ((1.0, 3, False), (2.5, 1, False), (2.5, 2, True)):
        given = scenario(HEAVY, Goal(aim=Aim.REACH, exit_speed=15.0), stages=stages, exit_energy=energy)
        bare = BestDesign(0, given, (), None, settings_at(given, np.zeros(0)))
        sought.clear()
        assert _Reach(given, [bare], bare, 15.0, NO_MARGINS, Clock()).enough({"stages": 0.0}) == enough
        assert (False in sought) == enough


def test_needed_values_keep_the_reserve_for_other_builds() -> None:
    # ½ · 18 g · (15 m/s)² = 2.025 J, which a limit of 2.05 J does not allow with a reserve of 5 %.
    given = _reach(15.0, exit_energy=2.05)
    bare = BestDesign(0, given, (), None, settings_at(given, np.zeros(0)))
    (found,) = _Reach(given, [bare], bare, 15.0, {"exit_energy": 0.05}, Clock()).relaxations(("exit_energy",))
    assert found.needed == pytest.approx(2.025 / 0.95, rel=3e-3)
    assert found.together == found.needed


def test_search_under_greater_reserves_goes_on_from_what_was_found() -> None:
    given = _reach(15.0, exit_energy=2.0)
    bare = BestDesign(0, given, (), None, settings_at(given, np.zeros(0)))
    first = _Reach(given, [bare], bare, 15.0, NO_MARGINS, Clock())
    assert first.conflict() == ("exit_energy",)
    held = first.under({"exit_energy": 0.05})
    assert held.found
    assert held.found == first.found
    (value,) = held.relaxations(held.conflict())
    assert value.needed == pytest.approx(2.025 / 0.95, rel=3e-3)


def test_nearest_design_is_the_fastest_feasible_one() -> None:
    missed = _missed_under_heat()
    fastest = plan(replace(HEAT, goal=Goal(aim=Aim.FASTEST)), draws=0, certified=False).fastest
    assert fastest is not None
    assert missed.nearest is not None
    assert missed.nearest.exit_speed == pytest.approx(fastest.exit_speed, rel=1e-4)


def test_limits_on_what_is_built_give_way_by_the_greatest_share_that_more_stages_need() -> None:
    # A third stage is half as much again as two; the length of three is about 4 % above the limit.
    given = scenario(HEAVY, stages=2, length=0.25)
    bare = BestDesign(0, given, (), None, settings_at(given, np.zeros(0)))
    margins, share = _Reach(given, [bare], bare, 20.0, NO_MARGINS, Clock())._longer(["stages", "length"], 3)
    assert share == pytest.approx(1.5)
    assert broken_by(given.launcher, given.limit_values, 3) == ["stages", "length"]
    assert broken_by(given.launcher, given.limit_values, 3, margins) == []
    assert broken_by(given.launcher, given.limit_values, 4, margins) == ["stages", "length"]


@drawn(st.floats(5, 40), st.floats(1.001, 1.5), st.integers(1, 3), st.integers(1, 4))
def test_stages_are_too_few_where_three_times_the_last_gain_of_each_does_not_reach_the_speed(
    slow: float, ratio: float, apart: int, more: int
) -> None:
    # Between stage counts `apart` from each other the speed grows by `ratio`; `more` further stages are asked about.
    steps, fast = [(2, slow), (2 + apart, slow * ratio)], slow * ratio
    most = fast * ratio ** (3 * more / apart)
    assert _hopeless(steps, 2 + apart + more, most * (1 + 1e-9))
    assert not _hopeless(steps, 2 + apart + more, most * (1 - 1e-9))
    # Speeds before these two say nothing, and one alone neither.
    assert _hopeless([(1, 0.1), *steps], 2 + apart + more, most * (1 + 1e-9))
    assert not _hopeless(steps[1:], 2 + apart + more, 1e9)
    # A slower step gains nothing, and what is reached already needs no more.
    assert _hopeless([(2, fast), (3, slow)], 4, fast * (1 + 1e-9))
    assert not _hopeless([(2, fast), (3, slow)], 4, fast)


@drawn(st.floats(1e-6, 1e6), st.sampled_from(["slip_heat", "grip_margin"]))
def test_needed_values_are_rounded_to_four_digits_on_the_looser_side(value: float, name: str) -> None:
    found = _outward(name, value)
    assert found == pytest.approx(value, rel=1.001e-3)
    assert found >= value if name == "slip_heat" else found <= value
    assert found == (value if value.is_integer() else float(f"{found:.4g}"))


def test_one_more_stage_gains_what_the_next_design_is_faster() -> None:
    broken = ((), (), ("length",), (), ("slip_heat",))
    rows: list[Any] = [
        SimpleNamespace(count=count, solution=True, settings=SimpleNamespace(
            exit_speed=speed, verdicts=[SimpleNamespace(name=name, satisfied=False) for name in broken[count]]
        ))
        for count, speed in enumerate((1.2, 10.0, 13.0, 12.0, 18.0))
    ]  # fmt: skip
    assert one_more(rows[1], rows, NO_MARGINS) == pytest.approx(0.3)
    assert one_more(rows[2], rows, NO_MARGINS) == 0.0
    # Settings with four break a limit that has nothing to do with how many are built.
    assert one_more(rows[3], rows, NO_MARGINS) == 0.0


DRIVEN = launcher(
    SEED,
    stage(
        inertia=2e-5, mass=0.3, cost=20.0, crush=0.003,
        drive=Drive(speed_constant=94.0, resistance=0.6, no_load_current=0.3, current_limit=8.0),
    ),
    feed=1.0,
)  # fmt: skip
DRIVEN = replace(DRIVEN, feed=replace(DRIVEN.feed, rate=2.0), supply=Supply(voltage=11.1, resistance=0.06))
FAR_TOO_TIGHT = {
    "exit_energy": (0.02, Aim.REACH), "acceleration": (3.0, Aim.REACH), "wheel_speed": (0.6, Aim.FASTEST),
    "cost": (1.0, Aim.REACH), "supply_current": (0.05, Aim.FASTEST), "grip_margin": (0.99, Aim.FASTEST),
}  # fmt: skip
"""Values that leave no throw but those of the feed, or none at all, and with which aim they are looked at."""
TIGHT = {"exit_energy": 0.4, "wheel_speed": 7.0, "length": 0.09, "supply_current": 0.5}
"""Values with which some stage throws, but not to 12 m/s: limits on a throw, a wheel, what is built and the rate."""


@pytest.mark.parametrize("name", FAR_TOO_TIGHT)
def test_a_limit_far_too_tight_is_named_with_a_value_that_does(name: str) -> None:
    value, aim = FAR_TOO_TIGHT[name]
    # One stage fits without the limit, so that further ones are looked at for a goal only.
    _assert_remedied(name, value, _fitting(8.0, 2) if aim is Aim.REACH else _fitting(None, 1))


@pytest.mark.parametrize("name", TIGHT)
def test_a_limit_too_tight_for_the_goal_is_named_with_a_value_that_does(name: str) -> None:
    _assert_remedied(name, TIGHT[name], _fitting(12.0, 2))


@cache
def _fitting(speed: float | None, stages: int) -> Scenario:
    """Return a scenario that some design fits; speed: of the goal [m/s], None: the greatest."""
    goal = Goal(aim=Aim.FASTEST) if speed is None else Goal(aim=Aim.REACH, exit_speed=speed)
    given = scenario(DRIVEN, goal, stages=stages, grip_margin=0.02)
    assert _fits(given)
    return given


def _fits(given: Scenario) -> bool:
    """Whether the search finds a design of one stage or more."""
    best = best_of(given)
    return best is not None and best.count > 0


def _assert_remedied(name: str, value: float, given: Scenario) -> None:
    found = plan(with_limits(given, {name: value}), draws=0, certified=False)
    assert found.nothing_fits
    assert found.missed is not None
    assert OUT_OF_REACH not in found.missed.reason
    assert name in found.missed.conflict
    needed = {one.name: one.needed for one in found.missed.relaxations}[name]
    assert needed is not None
    assert _fits(with_limits(given, {name: needed}))


def test_share_of_loss_that_would_do_is_a_limit_still() -> None:
    # Governors too weak for the rate: the projectile jams once the wheels have settled, a loss of 1. A share of 1 or
    # more would be no limit, and a configuration with it is refused.
    drive = replace(DRIVEN.template.drive, current_limit=0.3, no_load_current=0.05, governed=True)
    weak = replace(DRIVEN, template=replace(DRIVEN.template, drive=drive), feed=replace(DRIVEN.feed, rate=10.0))
    missed = _missed(scenario(weak, Goal(aim=Aim.REACH, exit_speed=8.0), stages=1, settled_loss=0.02))
    assert missed.conflict == ("settled_loss",)
    assert [(one.needed, one.together) for one in missed.relaxations] == [(None, None)]


def test_needed_value_is_enough_for_other_builds_too_where_no_stage_fits() -> None:
    # There is no design yet whose reserve could be taken.
    task = doubtful(scenario(HEAVY, Goal(aim=Aim.REACH, exit_speed=5.0), stages=1, acceleration=300.0), 0.05)
    missed = plan(task, draws=4, certified=False).missed
    assert missed is not None
    needed = {one.name: one.needed for one in missed.relaxations}
    assert list(needed) == ["acceleration"]
    looser = replace(task, limit_values=replace(task.limit_values, acceleration=needed["acceleration"]))
    best = plan(looser, draws=4, certified=False).best
    assert best is not None
    assert best.feasible


def test_the_needed_value_of_a_toy_limit_holds_the_reserve_of_other_builds() -> None:
    # The energy that is told was put in the place of the limit and ended in a fault.
    task = doubtful(_reach(9.0), 0.01)
    values = replace(task.limit_values, toy=ToyLimit(name="invented", energy=0.6, source="invented"))
    task = replace(task, limit_values=values)
    missed = plan(task, draws=4, certified=False).missed
    assert missed is not None
    assert missed.conflict == ("toy",)
    (needed,) = (one.needed for one in missed.relaxations)
    assert needed is not None
    assert needed > 0.5 * 0.018 * 9.0**2 * 1.005
    enough = replace(task, limit_values=values.with_values({"toy": needed}))
    assert plan(enough, draws=4, certified=False).best is not None

"""Robust and minimum-variance settings on fresh draws."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from stager.config import load
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.model.requirements import Aim, Goal
from stager.optimise import clock, robust
from stager.optimise.judge import JUDGED, judge_settings, settings_at
from stager.optimise.planner import plan
from stager.optimise.records import Plan
from stager.optimise.robust import Sample, _pick, _quantile_and_share, first_throws
from stager.physics.chain import throw
from stager.physics.records import Throw
from tests.optimise.machines import HEAVY, LIGHT, doubtful, scenario, unsure
from tests.optimise.plain_search import draw_problem

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
SPEED = 9.0


@pytest.fixture(scope="module")
def ball() -> Scenario:
    whole = load(CONFIGS / "seed_ball.toml").scenario()
    return replace(whole, limit_values=replace(whole.limit_values, stages=2))


@pytest.fixture(scope="module")
def robust_plan(ball: Scenario) -> Plan:
    return plan(ball, draws=0, certified=False, sturdy=True)


def test_robust_quantile_holds_on_fresh_draws(ball: Scenario, robust_plan: Plan) -> None:
    assert robust_plan.robust is not None
    assert robust_plan.best is not None
    found = robust_plan.robust
    fresh = Sample(ball, 4000, np.random.default_rng(99))
    speeds = np.stack([found.settings.wheel_speed, robust_plan.best.wheel_speed])
    low, before = np.quantile(fresh.throw(speeds).exit_speed[:, 1:], found.quantile, axis=1)
    # The 5 % quantile of 400 draws lies between their 3 % and 7.4 % quantiles with about 95 % probability.
    span = np.quantile(fresh.throw(speeds[:1]).exit_speed[0, 1:], [0.03, 0.074])
    assert span[0] <= found.low <= span[1]
    assert low >= before
    assert found.kept_at_least < found.kept <= 1


SHARES = st.sampled_from([0.0, 0.5, 0.94, 0.95, 0.97, 1.0])


@drawn(st.lists(st.tuples(st.floats(0.1, 20.0), SHARES), min_size=1, max_size=6))
def test_settings_that_keep_the_limits_often_enough_are_picked_however_slow(found: list[tuple[float, float]]) -> None:
    speeds, shares = (np.array(column) for column in zip(*found, strict=True))
    draws, spread = 100, np.linspace(1.0, 2.0, 100)
    kept = np.arange(draws) < np.round(shares * draws)[:, None]

    def repeated(rows: Floats) -> Floats:
        """Return rows with a nominal launcher before the draws, (candidates, draws + 1)."""
        return np.hstack([np.zeros((len(rows), 1)), rows])

    sample: Any = SimpleNamespace(
        throw=lambda lead: SimpleNamespace(exit_speed=repeated(speeds[:, None] * spread)),
        kept=lambda done, near: repeated(kept.astype(float)),
    )
    best: Any = SimpleNamespace(design=None)
    picked = int(_pick(sample, best, np.arange(len(found))[:, None])[0])
    # The nominal launcher is none of the draws.
    assert _quantile_and_share(sample, best, np.zeros(1)) == (pytest.approx(1.05 * speeds[0]), kept[0].mean())
    enough = shares >= 0.95
    if enough.any():
        assert enough[picked]
        assert speeds[picked] == speeds[enough].max()
    else:
        assert shares[picked] == shares.max()


def test_robust_settings_keep_the_limits_at_a_stated_cost(robust_plan: Plan) -> None:
    assert robust_plan.robust is not None
    assert robust_plan.best is not None
    assert robust_plan.robust.settings.feasible
    lost = 1 - robust_plan.robust.settings.exit_speed / robust_plan.best.exit_speed
    assert robust_plan.robust.cost == pytest.approx(lost)
    assert robust_plan.robust.cost >= 0


def test_minimum_variance_settings_scatter_less_than_random_ones() -> None:
    task = load(CONFIGS / "table_tennis.toml").scenario()
    two = replace(task.limit_values, stages=2)
    task = replace(task, limit_values=two, goal=Goal(aim=Aim.STEADIEST, exit_speed=SPEED))
    found = plan(task, draws=0, certified=False)
    assert found.best is not None
    assert found.spread is not None
    assert found.spread_before is not None
    assert found.best.feasible
    assert found.best.exit_speed == pytest.approx(SPEED, rel=5e-4)
    assert found.spread <= found.spread_before
    fresh = Sample(task, 64, np.random.default_rng(1))
    tries = found.best.wheel_speed * np.random.default_rng(5).uniform(0.85, 1.15, (1500, found.best.count))
    tries = tries[np.abs(throw(task.launcher, tries).exit_speed / SPEED - 1) < 0.003]
    others = tries[judge_settings(task, tries).slack >= -1e-6]
    assert len(others) >= 5
    # These may be 0.3 % slower and therefore scatter a little less.
    assert (fresh.throw(others).exit_speed[:, 1:].std(axis=1) / SPEED).min() > found.spread * 0.98


def test_steadiest_settings_may_be_far_from_the_coolest(monkeypatch: pytest.MonkeyPatch) -> None:
    # Beside idlers a fast first wheel and a last one that brakes scatter a fifth of what grips from the start does.
    monkeypatch.setattr(robust, "STEADIED_ON", 8)
    drawn, asked, known = draw_problem(np.random.default_rng([9200, 1]), aim=Aim.FASTEST), 3.045, np.array([6.77, 5.92])
    task = doubtful(replace(drawn, limit_values=replace(drawn.limit_values, stages=2)), 0.03)
    task = replace(task, goal=Goal(aim=Aim.STEADIEST, exit_speed=asked))
    found = plan(task, draws=0, certified=False)
    assert judge_settings(task, known[None]).slack[0] >= -1e-6
    assert throw(task.launcher, known).exit_speed == pytest.approx(asked, rel=1e-3)
    other = Sample(task, 8, np.random.default_rng(1)).throw(known[None]).exit_speed[0, 1:].std() / asked
    assert found.spread is not None
    assert found.spread < other


def test_steadiest_wheels_of_a_catalogue_are_chosen_not_the_coolest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust, "STEADIED_ON", 8)
    monkeypatch.setattr(robust, "PATTERNS", 12)
    drawn = draw_problem(np.random.default_rng([9202, 2]), aim=Aim.FASTEST).launcher
    drawn = replace(drawn, supply=None, feed=replace(drawn.feed, rate=None))
    own = replace(drawn.template.wheel, name="own")
    other = replace(own, radius=1.3 * own.radius, inertia=30 * own.inertia, name="other")
    stage = replace(drawn.template, drive=None, wheel=own, wheel_options=(other,))
    goal = Goal(aim=Aim.STEADIEST, exit_speed=3.0)
    task = scenario(replace(drawn, template=stage), goal, stages=2, wheel_speed=32.0)
    found = plan(doubtful(task, 0.03), draws=0, certified=False)
    assert found.catalogue is not None
    assert [wheel for wheel, _ in found.catalogue.chosen] == ["other", "other"]
    # With its own wheels, the coolest ones, it scatters by 0.0274 %.
    assert found.spread == pytest.approx(2.23e-4, rel=0.03)


@pytest.mark.parametrize(("limit", "bound"), [("exit_speed", 8.32), ("exit_energy", 0.6048)])
def test_steadiest_settings_need_the_reserve_of_their_own_scatter(limit: str, bound: float) -> None:
    # The coolest settings scatter by half as much again: with their reserve 8 m/s was said to be out of reach.
    task = doubtful(scenario(LIGHT, Goal(aim=Aim.STEADIEST, exit_speed=8.0), stages=2, **{limit: bound}), 0.03)
    found = plan(task, draws=10, certified=False)
    assert found.best is not None
    assert found.best.exit_speed == pytest.approx(8.0, rel=5e-4)
    assert found.margin is not None
    assert found.margin.kept >= 0.95
    assert found.spread == pytest.approx(0.0166, rel=0.02)


@pytest.mark.parametrize("aim", [Aim.REACH, Aim.STEADIEST])
def test_plans_for_an_asked_speed_reach_it_and_keep_hard_limits_in_enough_builds(aim: Aim) -> None:
    # At 2100 m/s² they were kept in 84 and in 91 % of builds; elsewhere wheels were slowed below what was asked for.
    for most in (2100.0, 2300.0):
        task = scenario(HEAVY, Goal(aim=aim, exit_speed=9.0), stages=2, acceleration=most)
        found = plan(doubtful(task, 0.03), draws=10, certified=False)
        assert (found.best is None) == (found.missed is not None)
        if found.best is not None:
            assert found.best.exit_speed == pytest.approx(9.0, rel=6e-4)
            assert found.margin is not None
            assert found.margin.kept >= 0.95
        else:
            assert most < 2200.0


def test_spread_that_is_told_is_that_of_the_settings_of_the_plan() -> None:
    # Mass alone uses up most of the limit, so that the settings found first need a reserve.
    task = scenario(HEAVY, Goal(aim=Aim.STEADIEST, exit_speed=9.0), stages=2, exit_energy=0.7691)
    task = doubtful(task, 0.03)
    found = plan(task, draws=10, certified=False)
    assert found.best is not None
    assert found.best.exit_speed == pytest.approx(9.0, rel=5e-4)
    sample = Sample(task, robust.STEADIED_ON, np.random.default_rng(1))
    spread = sample.throw(found.best.lead[None], JUDGED).exit_speed[0, 1:].std() / 9.0
    assert found.spread == pytest.approx(spread, rel=1e-6)


@pytest.mark.parametrize("looks", [120, 250])
def test_steadiest_settings_are_sought_no_longer_than_time_allows(looks: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # A clock that moves on by a second whenever it is read, as it is before every look at settings.
    reads = count()
    monkeypatch.setattr(clock, "time", SimpleNamespace(monotonic=lambda: float(next(reads))))
    late: list[int] = []
    throw_all = Sample.throw

    def counted(sample: Sample, *given: Any) -> Throw:
        late.append(int(next(reads) > looks))
        return throw_all(sample, *given)

    monkeypatch.setattr(Sample, "throw", counted)
    task = load(CONFIGS / "table_tennis.toml").scenario()
    task = replace(task, goal=Goal(aim=Aim.STEADIEST, exit_speed=SPEED))
    found = plan(task, draws=0, certified=False, seconds=float(looks))
    assert "the steadiest settings" in found.left_open
    # Once time is up, only the spread of settings that are known is computed.
    assert sum(late) <= 2 * task.limit_values.stages
    assert found.best is not None
    assert found.best.feasible
    assert found.best.exit_speed == pytest.approx(SPEED, rel=5e-4)


def test_first_throws_have_an_interval_only_where_something_is_uncertain() -> None:
    given = unsure()
    top, rng = settings_at(given, np.array([12.0])), np.random.default_rng(0)
    for task, certain in ((replace(given, uncertain=()), True), (given, False)):
        found = first_throws(task, top, rng, (0.5, 0.75, 1.0))
        assert [one.share for one in found] == [0.5, 0.75, 1.0]
        for one in found:
            assert one.wheel_speed == pytest.approx(one.share * top.wheel_speed)
            assert one.exit_speed == pytest.approx(settings_at(given, one.wheel_speed).exit_speed, rel=1e-3)
            if certain:
                assert (one.low, one.high) == (None, None)
            else:
                assert one.low is not None
                assert one.high is not None
                assert one.low < one.exit_speed < one.high


@pytest.mark.parametrize("uncertain", [True, False])
def test_first_throws_keep_the_hard_limits_unless_the_last_is_known_to(uncertain: bool) -> None:
    free, rng = unsure(), np.random.default_rng(0)
    top = settings_at(free, np.array([12.0]))
    energy = float(free.launcher.projectile.mass) * top.exit_speed**2 / 2
    task = replace(
        free, limit_values=replace(free.limit_values, exit_energy=0.8 * energy),
        uncertain=free.uncertain if uncertain else (),
    )  # fmt: skip
    for judged, shares in ((False, [0.5, 0.7]), (True, [0.5, 0.7, 1.0])):
        found = first_throws(task, top, rng, (0.5, 0.7, 1.0), judged=judged)
        assert [one.share for one in found] == shares
    assert first_throws(task, top, rng, (1.0,)) == ()

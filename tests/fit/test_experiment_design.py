"""Throws advised by `next` against the same number of evenly spread ones."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from stager.api import load
from stager.constraints.recommend import Recommended
from stager.fit import experiment_design, prediction
from stager.fit.experiment_design import (
    CLOSE,
    FIRST_SCATTER,
    GREATEST_LOSS,
    ONE_SETTING,
    TESTS,
    WIDEST,
    Experiments,
    MeasuredSettings,
    Next,
    Stakes,
    stakes,
)
from stager.fit.fitting import fit
from stager.fit.prediction import before, known_of, recommended_chain
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import SURE, throw
from tests.cli.run import ROOT, stager
from tests.recovery.bench import finder, scenario, table

LAUNCHERS = 400
"""Simulated launchers, as many as the program draws."""


def advice(title: str) -> tuple[Recommended, ...]:
    """Return the recommended wheel speed for the scenario of this title."""
    return _advice(title, prediction.DRAWS)


@lru_cache
def _advice(title: str, draws: int) -> tuple[Recommended, ...]:
    given = next(one for one in map(scenario, ("seed_ball", "stiff_pair")) if one.title == title)
    return recommended_chain(known_of(given), 1)


def _share_wrong(given: Scenario, plans: list[Floats], rng: np.random.Generator) -> list[float]:
    """Return for each plan the share of simulated sessions that end in a wrong wheel speed.

    Each launcher of a fresh ensemble throws once at every setting of a plan (throws,) [m/s], with scatter. The others
    are weighted by their likelihood and the speed that is most probably good is chosen; the truth decides if it is.
    """
    ensemble = before(given, rng, LAUNCHERS)
    what, _ = stakes(ensemble, 1, finder(given), advice(given.title))
    bad = what.loss > GREATEST_LOSS
    shares = []
    for plan in plans:
        speeds = np.broadcast_to(plan[:, None, None], (plan.size, LAUNCHERS + 1, 1))
        exits = throw(ensemble.launcher, speeds, options=SURE).exit_speed[:, 1:]
        expected = np.log(np.maximum(exits, 1e-9))
        seen = expected + FIRST_SCATTER * rng.normal(size=expected.shape)
        far = -0.5 * (((seen[:, :, None] - expected[:, None, :]) / FIRST_SCATTER) ** 2).sum(axis=0)
        np.fill_diagonal(far, -np.inf)
        weights = np.exp(far - far.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        chosen = np.argmin(weights @ bad.T, axis=1)
        shares.append(float(bad[chosen, np.arange(LAUNCHERS)].mean()))
    return shares


def test_probability_of_a_wrong_decision_is_that_of_the_draws_that_it_is_wrong_for() -> None:
    what = Stakes(
        worthwhile=np.array([1.0, 0.0, 0.0, 0.0]), choices=np.array([9.0, 10.0]),
        loss=np.array([[0.0, 0.5, 0.5, 0.0], [0.5, 0.0, 0.0, 0.0]]), grip_limit=np.full(5, 10.0),
    )  # fmt: skip
    even, sure = np.full(4, 0.25), np.array([1.0, 0.0, 0.0, 0.0])
    stage, speed = what.wrong(np.array([even, sure]))
    assert stage == pytest.approx([0.25, 0.0])
    assert speed == pytest.approx([0.25, 0.0])
    assert [float(one) for one in what.wrong(even)] == [0.25, 0.25]


@pytest.mark.parametrize("speed", [3.0, None], ids=["slow", "none"])
def test_recommended_speed_far_below_the_grip_limit_is_among_the_choices(speed: float | None) -> None:
    given = scenario("seed_ball")
    ensemble = before(given, np.random.default_rng(0), 20)
    chosen = Recommended(wheel_speed=speed, by="exit_energy", confidence=0.95, draws=20)
    what, where = stakes(ensemble, 1, finder(given), [chosen])
    limit, measured = what.grip_limit[0], where.wheel_speed[:, 0]
    assert what.choices.max() >= limit
    if speed is None:
        assert min(what.choices.min(), measured.min()) > 0.39 * limit
    else:
        assert speed in what.choices
        assert ((0.4 * speed <= measured) & (measured <= speed)).sum() >= 10


def test_without_a_choice_no_speed_is_wrong() -> None:
    what = Stakes(worthwhile=None, choices=np.zeros(0), loss=np.zeros((0, 4)), grip_limit=np.full(5, np.nan))
    stage, speed = what.wrong(np.full((3, 2, 4), 0.25))
    assert stage.tolist() == speed.tolist() == [[0.0, 0.0]] * 3


def test_advised_throws_are_better_than_evenly_spread_ones() -> None:
    # One stage, so that only its speed is to be decided.
    one_stage, throws = replace(scenario("stiff_pair").limit_values, stages=1), 3
    given = replace(scenario("stiff_pair"), limit_values=one_stage)
    rng = np.random.default_rng(1)
    found = experiment_design.weigh(
        before(given, rng, prediction.DRAWS), 1, FIRST_SCATTER, finder(given), rng,
        recommended_chain(known_of(given), 1), throws=throws, whole=True,
    )  # fmt: skip
    advised = np.array([one.wheel_speed[0] for one in found.plan])
    assert advised.size == throws
    even = np.linspace(found.wheel_speed[0], found.wheel_speed[-1], throws)
    none, ours, theirs = _share_wrong(given, [np.zeros(0), advised, even], np.random.default_rng(2))
    assert ours < 0.8 * theirs < 0.8 * none
    # Predicted and simulated shares of 400 launchers; 0.06 is more than two standard errors.
    assert found.wrong_speed == pytest.approx(none, abs=0.06)
    assert found.plan[-1].wrong_after == pytest.approx(ours, abs=0.06)


def test_uninformative_throw_does_not_raise_the_error_probability(monkeypatch: pytest.MonkeyPatch) -> None:
    # Half of the draws favour a further stage; without the true one, most of the others do not.
    rng, draws = np.random.default_rng(1), prediction.DRAWS
    what = Stakes(
        worthwhile=np.arange(draws) % 2.0, choices=np.ones(1), loss=np.zeros((1, draws)), grip_limit=np.full(1, np.nan)
    )
    where = Experiments(
        wheel_speed=np.ones((5, 1)), expected=1e-3 * rng.normal(size=(5, draws)), safe=np.ones(5, bool)
    )  # fmt: skip
    monkeypatch.setattr(experiment_design, "stakes", lambda *given, **options: (what, where))
    given = scenario("seed_ball")
    found = experiment_design.weigh(
        before(given, rng, draws), 1, 20.0, finder(given), rng, advice(given.title), throws=1
    )  # fmt: skip
    assert not found.helps
    assert found.wrong == pytest.approx(0.5)
    assert found.plan[0].wrong_after <= found.wrong
    assert (found.wrong_after <= found.wrong).all()


SPEEDS = np.linspace(4.0, 16.0, 49)
BEST = 12.0
TESTED = np.arange(4.0, 12.1, 1.0)


def _advised(
    monkeypatch: pytest.MonkeyPatch, measured: Floats, *, doubtful: Sequence[float] = (), sure: bool = True,
    count: int = 8, limit: bool = False, fastest: float = np.inf, best: float | None = BEST,
    slowest_telling: float = 13.0, session: bool = False,
) -> Next:  # fmt: skip
    """Return a plan for a launcher whose decisions are certain or not, as if these wheel speeds [m/s] were measured."""
    rng, draws = np.random.default_rng(1), prediction.DRAWS
    apart = rng.normal(size=draws)
    loss = np.zeros((2, draws)) if sure else np.stack([apart > 0, apart <= 0]).astype(np.float64)
    grip_limit = np.append(13.0, 13.0 * np.exp(0.05 * apart)) if limit else np.full(draws + 1, np.nan)
    what = Stakes(worthwhile=None, choices=np.array([11.0, BEST]), loss=loss, grip_limit=grip_limit)
    # Only the fastest settings tell which choice is good.
    telling = np.where(SPEEDS[:, None] > slowest_telling, 0.1 * apart, 0.0)
    where = Experiments(wheel_speed=SPEEDS[:, None], expected=np.log(SPEEDS)[:, None] + telling, safe=fastest >= SPEEDS)
    monkeypatch.setattr(experiment_design, "stakes", lambda *given, **options: (what, where))
    given = scenario("seed_ball")
    chosen = (replace(advice(given.title)[0], wheel_speed=best),)
    known = MeasuredSettings(wheel_speed=measured, doubtful=np.array(doubtful, dtype=np.float64))
    return experiment_design.weigh(
        before(given, rng, draws), 1, 0.01, finder(given), rng, chosen, throws=count, session=session,
        measured=None if session else known,
    )  # fmt: skip


@pytest.mark.usefixtures("few_draws")
def test_nothing_is_known_enough_before_the_model_is_tested_up_to_the_recommended_speed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = _advised(monkeypatch, np.array([4.0, 5.0, 6.0]))
    assert (found.certain, found.enough, found.helps) == (True, False, True)
    assert {one.purpose for one in found.plan} == {"model"}
    settings = [float(one.wheel_speed[0]) for one in found.plan]
    assert settings[0] == pytest.approx(BEST, rel=CLOSE)
    # After these throws no gap is wider than asked, and then enough is known.
    tested = np.sort([4.0, 5.0, 6.0, *settings])
    assert np.diff(tested).max() <= WIDEST * BEST + np.diff(SPEEDS)[0]
    assert _advised(monkeypatch, tested).enough


def test_no_throw_is_more_than_twice_as_fast_as_any_so_far(monkeypatch: pytest.MonkeyPatch) -> None:
    for sure in (True, False):
        found = _advised(monkeypatch, np.array([4.0, 4.5, 5.0]), sure=sure)
        assert not found.enough
        assert found.plan
        assert max(one.wheel_speed[-1] for one in found.plan) <= 10.0
        # The model is tested as near to the recommended speed as throws may go, and then further.
        assert any(one.purpose == "model" and one.wheel_speed[-1] == pytest.approx(10.0) for one in found.plan)
    assert not _advised(monkeypatch, np.arange(4.0, 10.1, 1.0)).enough


def test_settings_are_offered_where_the_recommended_speed_is_far_beyond_any_so_far() -> None:
    given = scenario("seed_ball")
    chosen, rng = advice(given.title), np.random.default_rng(1)
    assert chosen[0].wheel_speed is not None
    slow = np.array([0.1, 0.12]) * chosen[0].wheel_speed
    found = experiment_design.weigh(
        before(given, rng, prediction.DRAWS), 1, 0.01, finder(given), rng, chosen, throws=4,
        measured=MeasuredSettings(wheel_speed=slow, doubtful=np.zeros(0)),
    )  # fmt: skip
    assert found.plan
    assert max(one.wheel_speed[-1] for one in found.plan) <= 2.0 * slow.max()


@pytest.mark.usefixtures("few_draws")
def test_enough_is_known_where_decisions_are_certain_and_the_range_is_tested(monkeypatch: pytest.MonkeyPatch) -> None:
    found = _advised(monkeypatch, TESTED)
    assert (found.certain, found.enough, found.plan) == (True, True, ())


@pytest.mark.usefixtures("few_draws")
def test_throws_beyond_certain_decisions_narrow_the_grip_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    found = _advised(monkeypatch, TESTED, limit=True, count=4)
    assert found.enough
    assert [one.purpose for one in found.plan] == ["limit"] * 4
    # Only these settings tell something about the grip limit.
    assert all(one.wheel_speed[0] > 13.0 for one in found.plan)
    assert _advised(monkeypatch, TESTED, limit=True, best=None).plan == ()
    open_tests = _advised(monkeypatch, np.array([4.0, 5.0, 6.0]), limit=True, count=4)
    assert not open_tests.enough
    # What is advised first is a throw that tests the model.
    assert [one.purpose for one in open_tests.plan] == ["model", "model", "limit", "limit"]


@pytest.mark.parametrize("count", [2, 3])
def test_no_more_than_half_of_several_throws_are_at_one_setting(count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # Only the fastest setting tells which choice is good, so that all throws would be there.
    found = _advised(monkeypatch, TESTED, sure=False, count=count, slowest_telling=15.8)
    assert len(found.plan) == count
    speeds = np.array([one.wheel_speed[0] for one in found.plan])
    most = (np.abs(speeds[:, None] / speeds - 1) < ONE_SETTING).sum(axis=1).max()
    assert most == (2 if count == 2 else (count + 1) // 2)


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("count, checked", [(3, False), (4, True)])
def test_first_session_tests_for_drift_from_four_throws_on(
    count: int, checked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = _advised(monkeypatch, np.zeros(0), sure=False, count=count, session=True).plan
    assert len(plan) == count
    assert [one.purpose == "drift" for one in plan] == [*[False] * (count - 1), checked]


@pytest.mark.usefixtures("few_draws")
def test_outlier_is_thrown_again_first(monkeypatch: pytest.MonkeyPatch) -> None:
    for sure in (True, False):
        found = _advised(monkeypatch, TESTED, doubtful=[8.0], sure=sure)
        assert not found.enough
        assert found.plan[0].purpose == "again"
        assert found.plan[0].wheel_speed[0] == pytest.approx(8.0, rel=0.02)
        assert sum(one.purpose == "again" for one in found.plan) == 1


@pytest.mark.usefixtures("few_draws")
def test_no_test_of_the_model_is_beyond_the_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    # An outlier and a recommended speed that no safe setting is close to stay untested.
    found = _advised(monkeypatch, np.array([4.0, 5.0, 6.0]), doubtful=[13.5], fastest=9.0)
    assert found.plan
    assert all(one.purpose == "model" and one.wheel_speed[0] <= 9.0 for one in found.plan)
    assert _advised(monkeypatch, np.arange(4.0, 9.1, 1.0), doubtful=[13.5], fastest=9.0).enough


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("count", [2, 4, 6, 9])
def test_a_share_of_the_throws_tests_the_model(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    found = _advised(monkeypatch, np.array([4.0, 5.0, 8.0]), sure=False, count=count)
    purposes = [one.purpose for one in found.plan]
    assert len(purposes) == count
    assert purposes.count("model") == -(-count // TESTS)
    assert all(one.wheel_speed[0] > 13.0 for one in found.plan if one.purpose == "decision")
    nothing_open = _advised(monkeypatch, TESTED, sure=False, count=count)
    assert {one.purpose for one in nothing_open.plan} == {"decision"}


@pytest.mark.usefixtures("few_draws")
def test_probable_outliers_without_a_second_throw_are_doubtful() -> None:
    speeds, given = np.array([5.0, 6.5, 8.0, 9.5, 9.6, 11.0]), scenario("seed_ball")
    exits = throw(given.launcher, speeds[:, None]).exit_speed
    exits[[2, 3]] *= 0.8
    throws = table(speeds[:, None], exits)
    found = fit(given, throws, np.random.default_rng(0), other_laws=False, words=False)
    assert found.found.outlier_probability[2] > 0.5
    assert MeasuredSettings.of(found).doubtful == pytest.approx([8.0])
    assert MeasuredSettings.of(found).wheel_speed == pytest.approx(speeds)


@pytest.mark.usefixtures("few_draws")
def test_plan_ends_once_it_helps() -> None:
    given = scenario("stiff_pair")
    some, rng = before(given, np.random.default_rng(1), prediction.DRAWS), np.random.default_rng(2)
    one = experiment_design.weigh(some, 1, FIRST_SCATTER, finder(given), rng, advice(given.title), throws=4, least=1)
    assert one.helps
    assert len(one.plan) == 1
    # With such scatter throws tell little, so all allowed ones are proposed.
    all_four = experiment_design.weigh(some, 1, 20.0, finder(given), rng, advice(given.title), throws=4, least=1)
    assert (all_four.helps, len(all_four.plan)) == (False, 4)


@pytest.mark.usefixtures("few_draws")
def test_next_proposes_the_requested_number_of_throws(tmp_path: Path) -> None:
    rows = "wheel_1 [m/s],exit_speed [m/s]\n8,7.2\n10,9.0\n12,10.7\n"
    (tmp_path / "few.csv").write_text(rows, encoding="utf-8")
    config = str(ROOT / "configs" / "seed_ball.toml")
    ran = stager("next", config, str(tmp_path / "few.csv"), "--throws", "2", "--set", "limits.stages=1", "--json")
    assert ran.status == 0
    document = json.loads(ran.out)
    assert document["enough_is_known"] is False
    assert len(document["plan"]) == 2


@pytest.mark.usefixtures("few_draws")
def test_at_most_half_the_throws_are_at_one_setting(tmp_path: Path) -> None:
    # Throws at one setting only could not reveal a misfit of the model.
    table = tmp_path / "throws.csv"
    rows = ["7,6.72", "10,9.44", "13,12.31", "17,11.69"]
    table.write_text("\n".join(["wheel_1 [m/s],exit_speed [m/s]", *rows]), encoding="utf-8")
    one = load(ROOT / "configs" / "seed_ball.toml").replace({"limits.stages": 1})
    found = one.next(one.read_throws(table), count=4)
    speeds = np.array([throw.wheel_speed[0] for throw in found.plan])
    assert speeds.size == 4
    for speed in speeds:
        assert np.sum(np.abs(speeds / speed - 1) < 0.015) <= 2

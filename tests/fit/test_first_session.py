"""The plan of a first session, before any throw."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import stager
from stager.constraints.recommend import hard_slacks
from stager.fit import prediction
from stager.fit.experiment_design import MOST_ALIKE, SETTING_RATIOS, SLOWER_RATIOS, Next, first_session
from stager.fit.fitting import fit
from stager.fit.prediction import before
from stager.fit.priors import own_law
from stager.physics.chain import SURE, throw
from tests.cli.run import ROOT
from tests.cli.run import stager as run
from tests.recovery.bench import Plan, draw_truth, finder, measure, scenario
from tests.sharing import share_results

NAMES = ("seed_ball", "constant_pair")
COUNT = 8


@cache
def planned(name: str) -> Next:
    given = scenario(name)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(prediction, "DRAWS", 200)
        return first_session(given, 1, finder(given), np.random.default_rng(1), throws=COUNT)


def speeds(name: str) -> list[float]:
    return [float(one.wheel_speed[-1]) for one in planned(name).plan]


@pytest.mark.parametrize("name", NAMES)
def test_session_starts_slow_and_ends_with_a_drift_check(name: str) -> None:
    plan = planned(name).plan
    assert len(plan) == COUNT
    assert speeds(name)[:-1] == sorted(speeds(name)[:-1])
    assert speeds(name)[-1] == speeds(name)[0]
    assert [one.purpose for one in plan].index("drift") == COUNT - 1


@pytest.mark.parametrize("name", NAMES)
def test_settings_are_spread_over_the_range(name: str) -> None:
    session = speeds(name)[:-1]
    distinct, counts = np.unique(session, return_counts=True)
    assert counts.max() <= MOST_ALIKE
    assert distinct.size >= 4
    assert sum(one.purpose == "model" for one in planned(name).plan) >= COUNT // 4
    # No gap is larger than 0.6 of the range.
    assert np.diff(distinct).max() < 0.6 * np.ptp(distinct)


@pytest.mark.parametrize("name", NAMES)
def test_settings_are_shares_of_the_grip_limit_and_of_the_recommended_speed(name: str) -> None:
    found = planned(name)
    grips, best = found.wheel_speed.max() / SETTING_RATIOS.max(), found.recommended.wheel_speed
    assert best is not None
    expected = np.union1d(grips * SETTING_RATIOS, best * SLOWER_RATIOS)
    np.testing.assert_allclose(found.wheel_speed, expected)


def test_session_is_planned_where_no_decision_can_be_wrong() -> None:
    found = planned("constant_pair")
    assert found.wrong == 0.0
    assert found.helps
    assert [one.wrong_after for one in found.plan] == [0.0] * COUNT


@pytest.mark.parametrize("name", ["seed_ball", "streamer"])
def test_first_session_halves_the_error_probability(name: str) -> None:
    found = planned(name)
    assert found.unmeasured
    assert found.helps
    left = [one.wrong_after for one in found.plan]
    assert left == sorted(left, reverse=True)
    assert left[-1] < 0.5 * found.wrong


@pytest.mark.parametrize("name", NAMES)
def test_first_throws_keep_hard_limits_in_fresh_draws(name: str) -> None:
    given = scenario(name)
    known = before(given, np.random.default_rng(99), 2000)
    settings = np.unique(speeds(name))[:, None, None] * np.ones((1, known.lanes, 1))
    done = throw(known.launcher, settings, options=SURE)
    kept = np.ones(settings.shape[:2], bool)
    for slack in hard_slacks(known.launcher, given.limit_values, done, steady=False).values():
        kept &= slack >= -1e-6
    assert (1 - kept[:, 1:].mean(axis=1)).max() <= 0.005


@pytest.mark.usefixtures("few_draws")
def test_throws_keep_the_limit_on_supply_current() -> None:
    given = stager.load(ROOT / "configs" / "seed_ball.toml", {"limits.supply_current": "12 A", "limits.stages": 1})
    rng = np.random.default_rng(0)
    found = first_session(given.scenario, 1, finder(given.scenario), rng, throws=COUNT)
    for one in found.plan:
        verdicts = {verdict.name: verdict for verdict in given.check(*one.wheel_speed.tolist()).verdicts}
        assert verdicts["supply_current"].satisfied


@pytest.mark.parametrize(("factor", "fits"), [(1.0, True), (0.75, False)])
def test_first_session_reveals_a_misfit(factor: float, fits: bool) -> None:
    # A chronograph that reads 25 % low is detected after eight throws.
    given = scenario("seed_ball")
    rng = np.random.default_rng(3)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    settings = np.array(speeds("seed_ball"))[:, None]
    throws = measure(given, real, settings, Plan(noise=0.01, throws=COUNT, outliers=0.0), rng)
    throws = replace(throws, exit_speed=factor * throws.exit_speed)
    found = fit(given, throws, np.random.default_rng(0), other_laws=False, words=False)
    assert (found.misfits == ()) is fits


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("wheels", ["wheel_1 [rpm]", "wheel_1 [rpm],wheel_2 [rpm],wheel_3 [rpm]"])
def test_next_plans_a_first_session_of_one_stage_from_an_empty_table(
    wheels: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    share_results(monkeypatch, "next")
    (tmp_path / "empty.csv").write_text(f"{wheels},exit_speed [m/s]\n", encoding="utf-8")
    arguments = ("next", str(ROOT / "configs" / "seed_ball.toml"), str(tmp_path / "empty.csv"), "--throws", "5")
    ran = run(*arguments, "--json")
    assert ran.status == 0
    document = json.loads(ran.out)
    assert document["first_session"]
    assert document["stages_built"] == 1
    rpm = [rpm for one in document["plan"] for rpm in one["rpm"]]
    assert len(rpm) == 5
    assert rpm[:-1] == sorted(rpm[:-1])
    assert run(*arguments).out.startswith("First session with stage 1 alone: 5 throws, about 15 minutes, slow ones")

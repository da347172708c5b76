"""The ladder says which limits its designs break."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import spearmanr

import stager
from stager.model.requirements import Aim, Goal
from stager.optimise.draws import Draws
from stager.optimise.ladder import TunedDraws, _main_cause, advise, rungs
from stager.optimise.records import Interval, Rung
from stager.report.plan import ladder_rows, ladder_table
from tests.cli.run import stager as stager_command

pytestmark = pytest.mark.usefixtures("few_draws")
SEED_BALL = stager.load("configs/seed_ball.toml").replace({"limits.stages": 2})


def test_verdict_and_ladder_say_what_is_broken_where_nothing_fits() -> None:
    found = SEED_BALL.replace({"limits.exit_energy": "1e-3 J"}).plan(draws=0)
    assert found.missed is not None
    assert found.verdict == found.missed.reason
    assert [row["broken"] for row in found.document()["ladder"]] == [["exit_energy"]] * 3
    screen = found.answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert table.columns[-1].head == "note"
    assert {row[-1] for row in table.rows} == {"breaks exit energy"}


@pytest.mark.usefixtures("few_draws")
def test_no_cell_is_cut_short_at_eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    wanted = ("--draws", "20", "--set", "limits.exit_energy=1e-3 J", "--set", "limits.stages=2")
    ran = stager_command("worth", "configs/seed_ball.toml", *wanted)
    assert "breaks" in ran.out
    assert "…" not in ran.out


def test_row_of_fewer_stages_says_which_limit_more_stages_break() -> None:
    rows = ladder_rows((Rung(stages=2, exit_speed=Interval(nominal=5.0), broken=("settled_loss",)),))
    assert ladder_table(rows).rows[0][-1] == "none within settled loss"


def _verdict(gain: float, probability: float | None) -> str:
    """Return the verdict where a second stage adds `gain` [-] and pays in the share `probability` of builds."""
    ladder = tuple(
        Rung(stages=k, exit_speed=Interval(nominal=speed), gain=Interval(nominal=more), probability_worthwhile=chance)
        for k, (speed, more, chance) in enumerate(
            ((1.2, 0.0, None), (10.0, 7.0, None if probability is None else 1.0), (10 * (1 + gain), gain, probability))
        )
    )
    scenario = SEED_BALL.scenario
    return advise(ladder, replace(scenario, goal=replace(scenario.goal, worthwhile=0.12)), 1).sentence


def test_stage_that_gains_enough_in_too_few_builds_is_not_called_one_that_gains_less() -> None:
    # The nominal gain is enough; of the builds, whose median is lower, few gain so much.
    for probability in (0.05, 0.3):
        said = _verdict(0.125, probability)
        assert "Build 1 stage" in said
        assert "less than" not in said
        assert f"12.5 %, but only {100 * probability:.0f} of 100 possible builds gain the 12 %" in said
    assert "would add 11.9 %, less than the 12 %" in _verdict(0.1197, None)
    assert "less than the 12 %" in _verdict(0.08, 0.02)


def _drawn(gain: float, spread: float) -> tuple[TunedDraws, float]:
    """Return draws whose second stage adds `gain` ± `spread` [-], most of that by friction, and friction's share."""
    friction, feed = np.random.default_rng(1).normal(size=(2, 1000))
    added = gain + spread * (0.9 * friction + 0.3 * feed)
    speeds = np.stack([np.full(1000, 1.2), np.full(1000, 10.0), 10.0 * (1 + added)])
    # Lane 0 is the configuration's own, and what does not vary explains nothing.
    values = {"feed.speed": feed, "contact.friction.static": friction, "projectile.mass": np.full(1000, 0.018)}
    lanes = {key: np.append(0.0, drawn) for key, drawn in values.items()}
    draws = Draws(values=lanes, launcher=SEED_BALL.scenario.launcher, lanes=1001)
    return TunedDraws(draws=draws, exit_speed=speeds), float(spearmanr(friction, added)[0] ** 2)


def test_verdict_names_what_to_measure_first_only_while_a_stage_is_in_doubt() -> None:
    scenario = SEED_BALL.scenario
    given = replace(scenario, goal=replace(scenario.goal, worthwhile=0.12))

    def advice(gain: float, tuned: TunedDraws | None, chance: float | None) -> Any:
        second = Interval(nominal=gain)
        ladder = (
            Rung(stages=0, exit_speed=Interval(nominal=1.2)),
            Rung(stages=1, exit_speed=Interval(nominal=10.0), gain=Interval(nominal=7.0), probability_worthwhile=1.0),
            Rung(stages=2, exit_speed=Interval(nominal=10 * (1 + gain)), gain=second, probability_worthwhile=chance),
        )
        return advise(ladder, given, 1, tuned)

    for gain in (0.115, 0.125):
        tuned, share = _drawn(gain, 0.03)
        found = advice(gain, tuned, float((tuned.gain(1) >= 0.12).mean()))
        assert found.settled_by == "contact.friction.static"
        assert found.share == pytest.approx(share, abs=1e-6)
        told = f" Uncertain contact.friction.static causes about {100 * share:.0f} % of the doubt: measure it first."
        assert found.sentence.endswith(told)
    for gain, chance in ((0.06, 0.02), (0.2, 0.98)):
        clear = advice(gain, _drawn(gain, 0.03)[0], chance)
        assert clear.settled_by is None
        assert "measure" not in clear.sentence
    assert "measure" not in advice(0.125, None, None).sentence


def test_no_quantity_is_to_be_measured_first_where_many_cause_the_doubt_alike() -> None:
    drawn = {f"part {i}": values for i, values in enumerate(np.random.default_rng(2).normal(size=(8, 1000)))}
    speeds = np.stack([np.full(1000, 1.2), np.full(1000, 10.0), 11.2 + 0.1 * sum(drawn.values())])
    lanes = {key: np.append(0.0, values) for key, values in drawn.items()}
    draws = Draws(values=lanes, launcher=SEED_BALL.scenario.launcher, lanes=1001)
    assert _main_cause(TunedDraws(draws=draws, exit_speed=speeds), 2) == (None, None)


def test_only_rows_that_keep_the_limits_have_intervals_of_draws() -> None:
    # The feed and one stage are too fast for a limit that two stages keep, as the second one brakes.
    scenario = SEED_BALL.scenario
    tuned = _drawn(0.125, 0.03)[0]

    def row(count: int, speed: float, feasible: bool) -> Any:
        settings = SimpleNamespace(
            exit_speed=speed,
            length=0.1,
            average_power=None,
            verdicts=(),
            throw=SimpleNamespace(jammed=False),
            leaves=True,
        )
        return SimpleNamespace(count=count, scenario=scenario, parts=(), settings=settings, feasible=feasible)

    fed, one, two = rungs([row(0, 12.0, False), row(1, 10.0, False), row(2, 8.0, True)], tuned)
    for rung in (fed, one):
        assert not rung.kept
        assert rung.exit_speed.low is None
        assert rung.exit_speed.high is None
        assert rung.probability_worthwhile is None
        assert rung.gain is None or (rung.gain.low is None and rung.gain.high is None)
    assert two.kept
    assert (two.exit_speed.low, two.exit_speed.high) == tuple(np.quantile(tuned.exit_speed[2], (0.025, 0.975)))
    assert two.gain is not None
    assert (two.gain.low, two.gain.high) == tuple(np.quantile(tuned.gain(1), (0.025, 0.975)))
    assert two.probability_worthwhile == (tuned.gain(1) >= scenario.goal.worthwhile).mean()


@pytest.mark.parametrize(("key", "needed"), [("stages", 1.0), ("cost", 38.0)])
def test_limit_of_nothing_is_named_with_what_a_stage_needs(key: str, needed: float) -> None:
    found = SEED_BALL.replace({f"limits.{key}": 0}).plan(draws=0)
    assert found.verdict == f"Build no stage: the limit on {key} allows no more."
    assert found.missed is not None
    assert [(one.name, one.needed, one.together) for one in found.missed.relaxations] == [(key, needed, needed)]


def test_stage_that_a_fast_feed_needs_to_keep_a_limit_is_built_though_it_adds_nothing() -> None:
    # The feed is faster than the limit; a wheel slows the ball to it.
    found = SEED_BALL.replace({"feed.speed": "3 m/s", "limits.exit_speed": "2.8 m/s"}).plan(draws=0)
    assert found.best is not None
    assert found.best.count == found.recommended_stages == 1
    assert found.verdict.startswith("Build 1 stage: a second would add 0.0 %")


def test_fewer_stages_do_not_seem_to_reach_an_asked_speed() -> None:
    scenario = SEED_BALL.scenario
    asked = replace(scenario, goal=Goal(aim=Aim.REACH, exit_speed=18.0))
    ladder = tuple(Rung(stages=k, exit_speed=Interval(nominal=speed)) for k, speed in enumerate((1.2, 17.97, 18.0)))
    assert "1 stage would leave at 17.9 m/s" in advise(ladder, asked, 2).sentence


def test_verdict_says_that_an_exit_speed_beside_the_aim_fastest_is_not_planned_for() -> None:
    beside = SEED_BALL.replace({"goal.exit_speed": "10 m/s"}).plan(draws=0)
    assert beside.exit_speed > 15
    assert beside.verdict.endswith('not for the 10 m/s of goal.exit_speed: for that, set goal.aim to "reach".')
    asked = SEED_BALL.replace({"goal.exit_speed": "10 m/s", "goal.aim": "reach"}).plan(draws=0)
    assert "goal.exit_speed" not in asked.verdict + SEED_BALL.plan(draws=0).verdict


def test_ladder_has_no_column_of_broken_limits_where_all_designs_fit() -> None:
    screen = SEED_BALL.plan(draws=0).answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert "note" not in [column.head for column in table.columns]

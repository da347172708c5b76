"""The advice of bench for the next throw: probabilities of a wrong choice now and after it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.config import load
from stager.constraints.recommend import Recommended
from stager.fit.experiment_design import Next, Suggested
from stager.fit.posterior import Misfit
from stager.fit.table import read_settings
from stager.fit.table.writer import open_table
from stager.report.answer import Provenance
from stager.report.bench import next_answer, screen
from tests.cli.run import ROOT

FIRST = re.compile(r"(?<![\w.])\d+\.\d+|(?<= )\d+(?= rpm)")
"""A wheel speed in a sentence."""
SOURCE = Provenance(config_sha256="", seed=0)
SPEEDS = np.array([10.0, 15.0])
BEST = Recommended(wheel_speed=15.0, exit_speed=11.0, by="peak", confidence=0.95, draws=400)
WHY = "15.00 m/s), exit 11.00 m/s. A faster wheel throws slower on average over what is not known."
LAUNCHER = load(ROOT / "configs" / "seed_ball.toml").scenario().launcher
FOUND = Next(
    launcher=LAUNCHER, built=1, probability_worthwhile=0.6, wrong_stage=0.4, wrong_speed=0.36, recommended=BEST,
    wheel_speed=SPEEDS, wrong_after=np.array([0.5, 0.6]), low=SPEEDS, median=SPEEDS, high=SPEEDS, grip_limit=None,
    plan=(Suggested(wheel_speed=np.array([15.0]), wrong_after=0.5),), enough=False, certain=False,
    helps=True,
)  # fmt: skip
UNTESTED = replace(FOUND, certain=True, plan=(replace(FOUND.plan[0], purpose="model"),))
USELESS = replace(FOUND, plan=(replace(FOUND.plan[0], wrong_after=0.76),), helps=False)
SEVERAL = replace(FOUND, plan=(*USELESS.plan, *USELESS.plan, replace(FOUND.plan[0], wrong_after=0.6)))
CHANCE = "the chance to choose the wrong wheel speed or number of stages"


@pytest.mark.parametrize(
    ("found", "fitted", "message"),
    [
        (FOUND, True, f"Throw next at 3580 rpm (15.00 m/s): {CHANCE} is 76 % now, and about 50 % after it."),
        (UNTESTED, True, "Throw next at 3580 rpm (15.00 m/s), to test the model: if it fits, enough is known."),
        (SEVERAL, True, "Throw next at 3580 rpm (15.00 m/s), the first of 3 throws:"
         f" {CHANCE} is 76 % now, and about 60 % after them."),
        (USELESS, True, f"A few more throws would hardly help: {CHANCE} stays near 76 %."),
        (USELESS, False, "Throw next at 3580 rpm (15.00 m/s): one throw alone tells little, but a fit needs 3."),
    ],
)  # fmt: skip
def test_bench_advises_a_throw_only_if_it_helps(found: Next, fitted: bool, message: str, tmp_path: Path) -> None:
    with open_table(tmp_path / "throws.csv", LAUNCHER, 1) as (writer, _):
        pass
    # 15 m/s / 40 mm × 60/2π = 3580.99 rpm, rounded down.
    notes = list(screen(found, fitted, writer.throws(), writer).notes)
    assert notes[-1] == message
    assert notes[:-1] == ([f"Recommended for stage 1 as the last one: wheel speed 3580 rpm ({WHY}"] if fitted else [])


def test_next_states_the_probability_before_and_after() -> None:
    shown = next_answer(FOUND, SOURCE).screen
    assert shown is not None
    assert shown.headline == f"Throw next at 15.00 m/s: {CHANCE} is 76 % now and about 50 % after the 1 throw below."
    last = replace(USELESS, probability_worthwhile=None, wrong_stage=0.0, wrong_speed=0.9)
    shown = next_answer(last, SOURCE).screen
    assert shown is not None
    assert shown.headline.endswith("would hardly help: the chance to choose the wrong wheel speed stays near 90 %.")


def test_next_says_what_each_throw_shows_where_some_test_the_model() -> None:
    plain, tested = FOUND, replace(UNTESTED, plan=(replace(FOUND.plan[0], purpose="again"), *UNTESTED.plan))
    screens = [next_answer(one, SOURCE).screen for one in (plain, tested)]
    tables, notes = zip(*((one.tables[0], " ".join(one.notes)) for one in screens if one is not None), strict=True)
    assert [column.head for column in tables[0].columns][-1] == "wrong after"
    assert [column.head for column in tables[1].columns][-1] == "it shows"
    assert [row[-1] for row in tables[1].rows] == ["if it was an outlier", "if the model fits"]
    assert "Shuffle the order of the throws" in notes[0]
    assert "After the outlier, shuffle the throws" in notes[1]
    shown = screens[1]
    assert shown is not None
    assert shown.headline == "Throw next at 15.00 m/s, to test the model: if it fits, enough is known."


def test_where_the_model_does_not_fit_that_comes_first_and_nothing_is_recommended(tmp_path: Path) -> None:
    wrong = replace(FOUND, misfits=(Misfit(kind="order", words="exit speed drifts from throw to throw"),))
    answer = next_answer(wrong, SOURCE)
    assert answer.screen is not None
    assert answer.screen.headline.startswith("The model does not fit the throws: exit speed drifts")
    assert list(answer.screen.notes) == ["These settings rest on the model that does not fit."]
    assert answer.document["misfits"] == ["exit speed drifts from throw to throw"]
    with open_table(tmp_path / "throws.csv", LAUNCHER, 1) as (writer, _):
        pass
    shown = screen(wrong, True, writer.throws(), writer)
    assert "The model does not fit the throws" in shown.headline
    assert not shown.notes


def test_next_on_a_fitted_configuration_says_that_throws_may_count_twice() -> None:
    for refitted in (True, False):
        shown = next_answer(replace(FOUND, refitted=refitted), SOURCE).screen
        assert shown is not None
        assert any("would count twice" in note for note in shown.notes) is refitted


def test_steps_towards_a_recommended_speed_far_beyond_any_throw_are_told() -> None:
    far = replace(FOUND, reach=0.5 * float(FOUND.recommended.wheel_speed or np.nan))
    shown = next_answer(far, SOURCE).screen
    assert shown is not None
    assert any("go there step by step" in note for note in shown.notes)


@pytest.mark.parametrize(
    "head", ["wheel_1 [m/s]", "wheel_1 [km/h]", "wheel_1 [rev/s]", "throttle_1 [%]", "throttle_1 [-]"]
)
@pytest.mark.parametrize("advised", [7.9989, 14.9967, 14.9989])
def test_settings_are_rounded_down(head: str, advised: float, tmp_path: Path) -> None:
    found = replace(
        FOUND, plan=(Suggested(wheel_speed=np.array([advised]), wrong_after=0.5),),
        recommended=replace(BEST, wheel_speed=advised),
    )  # fmt: skip
    (tmp_path / "throws.csv").write_text(f"{head},exit_speed [m/s]\n", encoding="utf-8")
    with open_table(tmp_path / "throws.csv", LAUNCHER, 1) as (writer, _):
        notes = screen(found, True, writer.throws(), writer).notes
        for note in notes:
            (tmp_path / "set.csv").write_text(f"{head}\n{FIRST.search(note)[0]}\n", encoding="utf-8")  # type: ignore[index]
            surface = read_settings(tmp_path / "set.csv", LAUNCHER).surface_speed(LAUNCHER, [0], 0).item()
            assert 0.98 * advised < surface <= advised
    assert len(notes) == 2
    shown = next_answer(found, SOURCE).screen
    assert shown is not None
    for text in (shown.headline, shown.tables[0].rows[0][1], shown.notes[1]):
        assert advised - 0.011 < float(FIRST.findall(text)[0]) <= advised


@pytest.mark.parametrize("built", [1, 2])
def test_next_has_an_answer_without_throws_to_make(built: int) -> None:
    nothing = replace(FOUND, plan=(), helps=False, built=built)
    unsafe = replace(nothing, recommended=replace(BEST, wheel_speed=None, by="exit_energy", broken=0.2))
    enough = replace(nothing, enough=True, certain=True)
    heads = [next_answer(one, SOURCE).shown.headline for one in (nothing, unsafe, enough)]
    assert [head.partition(":")[0] for head in heads] == [
        "No throw is proposed. No setting gets through and keeps the hard limits in as many builds as limits.confidence"
        " asks.",
        "No throw is proposed. No wheel speed keeps the limits in 95 of 100 builds", "Enough is known",
    ]  # fmt: skip


def test_next_proposes_throws_where_only_a_recommended_setting_is_missing() -> None:
    unset = replace(BEST, wheel_speed=None, by="slip_heat")
    some = replace(FOUND, unmeasured=True, recommended=unset)
    for one in (some, replace(some, plan=(), helps=False)):
        shown = next_answer(one, SOURCE).shown
        assert shown.headline.startswith("No throw is proposed. No wheel speed keeps") is not bool(one.plan)
        assert bool(shown.tables) is any("Each throw by itself" in note for note in shown.notes) is bool(one.plan)
        assert any("it breaks slip heat" in note for note in shown.notes)

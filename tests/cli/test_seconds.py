"""`--seconds N`: the best result within the time, and the list of what was left out."""

from __future__ import annotations

import json
from functools import cache

import pytest

from tests.cli.run import TEMPLATE, Completed, stager

pytestmark = pytest.mark.usefixtures("few_draws")
TWO_STAGES = ("--set", "limits.stages=2", "--draws", "40")


@cache
def _plan(*more: str) -> Completed:
    return stager("plan", str(TEMPLATE), *TWO_STAGES, *more)


def test_zero_seconds_give_one_stage_and_list_what_is_left_open() -> None:
    ran = _plan("--seconds", "0")
    assert ran.status == 0, ran.err
    assert ran.out.startswith("Best so far: 1 stage")
    shown = " ".join(ran.out.split())
    assert "Not done: 2 and more stages" in shown
    assert "was found within the limits" not in shown
    assert "Build 1 stage: the search was stopped before it got to 2 stages." in shown
    document = json.loads(_plan("--seconds", "0", "--json").out)
    assert document["stage_count"] == 1
    assert {"2 and more stages", "the upper bound", "draws"} <= set(document["left_open"])
    assert document["bound_m_s"] is None


def test_ample_time_gives_the_full_plan_without_the_bound() -> None:
    document, whole = (json.loads(_plan(*more, "--json").out) for more in (("--seconds", "1000"), ()))
    assert document["left_open"] == ["the upper bound"]
    assert whole["left_open"] == []
    for key in ("stages", "limits", "ladder", "verdict", "exit_speed_m_s"):
        assert document[key] == whole[key]


def test_zero_seconds_do_not_prove_infeasibility() -> None:
    reach = ("--set", "goal.aim=reach", "--set", "goal.exit_speed=26 m/s")
    document = json.loads(_plan(*reach, "--seconds", "0", "--json").out)
    assert document["proven"] is False
    assert document["left_open"]


def test_worth_reports_that_time_was_up() -> None:
    ran = stager("worth", str(TEMPLATE), *TWO_STAGES, "--seconds", "0")
    assert ran.out.startswith("Best so far: ")
    assert "Stopped when the time was up." in ran.out


def test_negative_seconds_are_an_input_error() -> None:
    assert stager("plan", str(TEMPLATE), "--seconds", "-1").status == 2

"""`--seconds N`: the best so far, and what is left open."""

from __future__ import annotations

import json
from functools import cache

from tests.cli.run import TEMPLATE, Ran, stager

TWO = ("--set", "limits.stages=2", "--draws", "40")


@cache
def _plan(*more: str) -> Ran:
    return stager("plan", str(TEMPLATE), *TWO, *more)


def test_a_search_without_time_gives_the_first_stage_and_says_what_is_open() -> None:
    ran = _plan("--seconds", "0")
    assert ran.status == 0, ran.err
    assert ran.out.startswith("Best so far: 1 stage")
    assert "Not looked at: 2 and more stages" in " ".join(ran.out.split())
    document = json.loads(_plan("--seconds", "0", "--json").out)
    assert document["stage_count"] == 1
    assert {"2 and more stages", "the upper bound", "draws"} <= set(document["left_open"])
    assert document["bound_m_s"] is None


def test_a_search_with_time_enough_leaves_the_bound_alone_open() -> None:
    document, whole = (json.loads(_plan(*more, "--json").out) for more in (("--seconds", "1000"), ()))
    assert document["left_open"] == ["the upper bound"]
    assert whole["left_open"] == []
    for key in ("stages", "limits", "ladder", "verdict", "exit_speed_m_s"):
        assert document[key] == whole[key]


def test_no_time_is_no_proof_that_nothing_fits() -> None:
    reach = ("--set", "goal.aim=reach", "--set", "goal.exit_speed=26 m/s")
    document = json.loads(_plan(*reach, "--seconds", "0", "--json").out)
    assert document["proven"] is False
    assert document["left_open"]


def test_worth_says_that_it_was_stopped() -> None:
    ran = stager("worth", str(TEMPLATE), *TWO, "--seconds", "0")
    assert ran.out.startswith("Best so far: ")
    assert "The time was up." in ran.out


def test_seconds_below_none_are_bad_input() -> None:
    assert stager("plan", str(TEMPLATE), "--seconds", "-1").status == 2

"""The limit that the verdict names as reason against a further stage."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.optimise.judge import settings_at
from stager.optimise.ladder import stops
from stager.optimise.parts import BestDesign
from stager.optimise.planner import plan
from tests.optimise.machines import HEAVY, launcher, scenario, unsure
from tests.optimise.machines import stage as built


def _verdict(machine: Any = HEAVY, **limit_values: Any) -> str:
    return plan(scenario(machine, **limit_values), draws=0, certified=False).verdict


@pytest.mark.parametrize(
    ("limit_values", "binding", "message"),
    [
        ({"stages": 1}, {"stages"}, "the limit on stages allows no more."),
        ({"stages": 1, "length": 0.2}, {"stages"}, "the limit on stages allows no more."),
        ({"stages": 6, "length": 0.1}, {"length"}, "the limit on length allows no more."),
        ({"stages": 6, "mass": 0.5}, {"mass"}, "the limit on mass allows no more."),
        ({"length": 0.1, "mass": 0.5}, {"length", "mass"}, "the limits on length and mass allow no more."),
    ],
)  # fmt: skip
def test_limit_that_forbids_a_further_stage_is_named(
    limit_values: dict[str, Any], binding: set[str], message: str
) -> None:
    machine = launcher(HEAVY.projectile, built(mass=0.3))
    found = plan(scenario(machine, **limit_values), draws=0, certified=False)
    assert found.verdict == f"Build 1 stage: {message}"
    assert found.binding == binding


@pytest.mark.parametrize("name, value", [("exit_energy", 0.9), ("wheel_speed", 5.0)])
def test_limit_that_keeps_a_further_stage_from_adding_is_named(name: str, value: float) -> None:
    verdict = _verdict(stages=3, **{name: value})
    assert verdict.endswith(f"that you call worthwhile, with {name.replace('_', ' ')} at its limit.")
    assert " would add 0." in verdict


def test_grip_margin_is_not_named_as_the_reason() -> None:
    verdict = plan(scenario(HEAVY, stages=2, grip_margin=0.05), draws=0, certified=False).verdict
    assert verdict.endswith("the limit on stages allows no more.")


def test_limit_against_a_further_stage_is_that_of_the_parts_of_the_last_design() -> None:
    given = scenario(HEAVY, stages=2, length=0.25)
    wide = replace(given, launcher=launcher(HEAVY.projectile, built(radius=0.2)))
    bare = settings_at(given, np.zeros(0))
    rows = [BestDesign(count, one, (), None, bare) for count, one in enumerate((given, wide))]
    assert stops(rows)[-1] == ("length",)
    assert stops(rows[:1])[-1] == ()


def test_a_plan_has_no_more_than_was_asked_for() -> None:
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, stages=1))
    found = plan(given, draws=0, certified=False)
    assert found.best is not None
    assert (found.robust, found.front, found.bound, found.margin) == (None, None, None, None)
    assert (found.spread, found.left_open) == (None, ())

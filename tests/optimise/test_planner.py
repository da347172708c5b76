"""Steps of a plan that few scenarios take: wheels slowed for hard limits, bounds by shared budgets."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from stager.optimise import planner, robust
from stager.optimise.judge import settings_at
from stager.optimise.parts import BestDesign, opened
from stager.optimise.planner import SLOWEST, _bounded, _Planning, silent
from stager.optimise.problem import NO_MARGINS, FastestTables
from stager.optimise.records import Parts
from stager.optimise.robust import enough, margin_draws, margin_of
from stager.optimise.search import Clock
from stager.parallel import Executor
from tests.optimise.machines import HEAVY, scenario, unsure


def test_wheels_are_slowed_no_more_than_enough_builds_need(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust, "MARGIN_DRAWS", 200)
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, exit_energy=0.17, stages=1))
    drawn = margin_draws(given)
    assert drawn is not None
    fast = settings_at(given, np.array([14.0]))
    assert not enough(margin_of(given, drawn, fast))
    planning = _Planning(given, 0, None, Executor(), Clock(), silent)
    found = planning._slowed(BestDesign(1, given, (), None, fast), drawn).settings
    share = float(found.lead[0] / fast.lead[0])
    assert SLOWEST < share < 1
    assert planning.margin is not None
    assert enough(planning.margin)
    assert planning.margin == margin_of(given, drawn, found)
    assert not enough(margin_of(given, drawn, settings_at(given, found.lead * 1.01)))


def test_wheels_that_no_slowing_makes_safe_stay_as_fast(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust, "MARGIN_DRAWS", 200)
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, exit_energy=1e-3, stages=1))
    drawn = margin_draws(given)
    assert drawn is not None
    row = BestDesign(1, given, (), None, settings_at(given, np.array([14.0])))
    assert _Planning(given, 0, None, Executor(), Clock(), silent)._slowed(row, drawn) is row


@pytest.mark.parametrize(
    ("asked", "count", "scarce", "told"),
    [
        (None, None, False, None), (None, 2, False, None), (None, 2, True, (9.0, 2)), (20.0, None, False, (None, None)),
        (20.0, 2, False, (9.0, 2)),
    ],
    ids=["no design", "nothing shared", "a budget is used up", "a speed out of reach", "a speed is reached"],
)  # fmt: skip
def test_shared_budgets_tighten_the_bound_where_they_can(
    asked: float | None, count: int | None, scarce: bool, told: tuple[Any, Any] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = SimpleNamespace(asked=asked)
    monkeypatch.setattr(planner, "bound", lambda *given: plain)
    monkeypatch.setattr(planner, "shared", lambda task, found, reached, count: (found, reached, count))
    found = _bounded(scenario(HEAVY), 3, 9.0, count, scarce)
    assert found == (plain if told is None else (plain, *told))


def test_design_variables_are_opened_for_each_stage_where_stages_differ() -> None:
    template = replace(HEAVY.template, crush_range=(0.002, 0.006))
    given = scenario(replace(HEAVY, template=template), stages=2)
    solution: Any = SimpleNamespace(problem=SimpleNamespace(tables=FastestTables(given)))
    for crushes, choose in (((0.003, 0.003), "common"), ((0.003, 0.005), "own")):
        parts = tuple(Parts(0, 0, crush) for crush in crushes)
        row = BestDesign(2, given, parts, solution, settings_at(given, np.zeros(2)))
        assert opened(given, row, NO_MARGINS, Clock()).choose == choose

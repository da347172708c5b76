"""Pareto fronts against plans with the limit set."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from stager.errors import InputError
from stager.optimise.pareto import Against
from stager.optimise.planner import plan
from stager.parallel import Executor
from tests.optimise.machines import HEAVY, scenario
from tests.optimise.solved import with_limits

TASK = scenario(HEAVY, stages=2)


def test_point_of_the_heat_front_is_the_plan_with_that_limit() -> None:
    found = plan(TASK, draws=0, certified=False, trade=Against.HEAT).front
    assert found is not None
    assert len(found.points) >= 5
    speeds = [point.exit_speed for point in found.points]
    assert speeds == sorted(speeds)
    point = found.points[2]
    assert point.value is not None
    again = plan(with_limits(TASK, {"slip_heat": point.value}), draws=0, certified=False)
    assert again.fastest is not None
    assert point.exit_speed == pytest.approx(again.fastest.exit_speed, rel=2e-4)


def test_length_front_follows_the_ladder() -> None:
    found = plan(TASK, draws=0, certified=False, trade=Against.LENGTH)
    assert found.front is not None
    assert [point.stages for point in found.front.points] == [1, 2]
    assert found.front.points[1].value == found.ladder[2].length


def test_front_is_identical_with_processes() -> None:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        shared = plan(TASK, draws=0, certified=False, trade=Against.HEAT, executor=Executor(pool)).front
    assert shared == plan(TASK, draws=0, certified=False, trade=Against.HEAT).front


def test_front_of_an_unknown_quantity_is_an_input_error() -> None:
    done: list[float] = []
    with pytest.raises(InputError, match="the cost of a plan is not known"):
        plan(TASK, draws=0, certified=False, trade=Against.COST, progress=done.append)
    assert not any(done)  # It is refused before the search.

"""Pareto fronts against plans with the limit set."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import cache
from multiprocessing import get_context

import pytest

from stager.errors import InputError
from stager.model.stage import Wheel
from stager.optimise.pareto import Against
from stager.optimise.planner import plan
from stager.optimise.records import Front, Plan
from stager.parallel import Executor
from tests.optimise.machines import HEAVY, scenario
from tests.optimise.solved import with_limits

TASK = scenario(HEAVY, stages=2)


@cache
def _with_heat_front() -> Plan:
    return plan(TASK, draws=0, certified=False, trade=Against.HEAT)


def _heat_front() -> Front:
    found = _with_heat_front().front
    assert found is not None
    return found


def test_point_of_the_heat_front_is_the_plan_with_that_limit() -> None:
    found = _heat_front()
    assert len(found.points) >= 5
    speeds = [point.exit_speed for point in found.points]
    assert speeds == sorted(speeds)
    best = _with_heat_front().fastest
    assert best is not None
    assert speeds[-1] == pytest.approx(best.exit_speed, rel=1e-4)
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
    assert shared == _heat_front()


def test_front_of_an_unknown_quantity_is_an_input_error() -> None:
    done: list[float] = []
    with pytest.raises(InputError, match="the cost of a plan is not known"):
        plan(TASK, draws=0, certified=False, trade=Against.COST, progress=done.append)
    assert not any(done)  # It is refused before the search.


LIGHT = Wheel(name="light", radius=0.04, inertia=1e-3, mass=0.3)
HEFTY = replace(HEAVY.template.wheel, name="heavy", mass=1.2)
WEIGHED = replace(HEAVY, template=replace(HEAVY.template, wheel=HEFTY, wheel_options=(LIGHT,), mass=3.0))


def test_mass_front_chooses_lighter_parts() -> None:
    given = scenario(WEIGHED, stages=1, slip_heat=4.0)
    found = plan(given, draws=0, certified=False, trade=Against.MASS)
    assert found.front is not None
    assert (found.front.against, found.front.unit) == ("mass", "kg")
    masses = [point.value for point in found.front.points]
    assert masses == [pytest.approx(3.0 - 2 * (1.2 - 0.3)), pytest.approx(3.0)]
    light = plan(with_limits(given, {"mass": 1.3}), draws=0, certified=False)
    assert light.fastest is not None
    assert found.front.points[0].exit_speed == pytest.approx(light.fastest.exit_speed, rel=2e-4)


def test_mass_front_needs_the_mass() -> None:
    with pytest.raises(InputError, match="the mass of a plan is not known"):
        plan(TASK, draws=0, certified=False, trade=Against.MASS)

"""Ranges of single variables around a plan."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.constraints import LIMITS, OperatingPoint
from stager.model.arrays import Floats
from stager.model.requirements import LimitValues
from stager.optimise.response import GRIDS, StageResponse, _edge, _passing, _scaled, look_up, respond
from stager.physics.chain import throw
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import DRIVE, HEAT, launcher


@pytest.mark.parametrize(
    ("plan", "jams", "ends"),
    [(5.0, [], (0.0, 10.0)), (5.0, [2], (3.0, 10.0)), (5.0, [8], (0.0, 7.0)), (5.0, [0, 2, 8, 9], (3.0, 7.0)),
     (4.8, [4], (4.8, 10.0)), (5.2, [6], (0.0, 5.2)), (0.0, [1], (0.0, 0.0)), (10.0, [3], (4.0, 10.0))],
)  # fmt: skip
def test_range_without_jams_is_the_one_around_the_plan(plan: float, jams: list[int], ends: tuple[float, float]) -> None:
    axis = np.arange(11.0)
    found = _passing(np.array([plan, plan]), np.stack([axis, axis]), np.stack([~np.isin(axis, jams), axis > -1]))
    assert found.tolist() == [list(ends), [0.0, 10.0]]


@pytest.mark.parametrize("rate", [1.0, 4.0])
def test_values_at_a_rate_are_exact_at_the_plan(rate: float) -> None:
    # Stage 2 heats its motor most by itself, as what it is fed is slower then.
    machine = launcher(drive=replace(DRIVE, heat=HEAT), rate=rate, session=180.0)
    wanted, plan = LimitValues(exit_energy=8.0, winding_temperature=400.0, average_power=200.0), np.array([9.0, 13.0])
    response = respond(machine, wanted, plan)
    assert response is not None
    point = OperatingPoint(launcher=machine, limit_values=wanted, throw=throw(machine, plan))
    known = {limit.name: limit.value(point) for limit in LIMITS}
    assert {"winding_temperature", "average_power"} <= {one.name for one in response.steady}
    for one in response.steady:
        here, at = np.array([rate]), np.append(plan, 0.0)
        parts = [float(surface.at(at[k : k + 1], here)[0]) for k, surface in enumerate(one.surfaces)]
        base = float(one.base.at(here)[0])
        told = {"sum": base + sum(part - base for part in parts), "product": base, "worst": max(parts)}[one.by]
        assert told == pytest.approx(float(np.asarray(known[one.name])), rel=1e-4, abs=1e-6)


def test_a_value_that_jumps_is_not_interpolated() -> None:
    response = respond(FULL, limit_values(exit_energy=1.2), np.array([11.0]))
    assert response is not None
    followed = {one.name for one in (*response.steady, *response.judged)}
    assert {"exit_energy", "throttle"} <= followed
    # Limits on one quantity of the throw follow that.
    of = {one.name: one.of for one in response.judged}
    assert (
        of.items()
        >= {"slip_heat": "slip_heat", "acceleration": "peak_acceleration", "exit_energy": "exit_speed"}.items()
    )
    assert "later_energy" not in followed
    assert "later_energy" in response.not_followed


def test_grip_limits_known_at_the_plan_replace_those_of_the_tables() -> None:
    plan = np.array([9.0])
    response = respond(launcher(), LimitValues(exit_energy=8.0), plan)
    assert response is not None

    def limit(stages: tuple[StageResponse, ...]) -> Floats:
        return plan / look_up(stages, response.feed, plan[None], np.zeros(1)).grip_share[0]

    own = limit(response.stages)
    for factor in (0.99, 1.01):
        assert limit(_scaled(response, factor * own)) == pytest.approx(factor * own)
    # Where none is known there, those of the tables stay.
    assert limit(_scaled(response, np.full(1, np.nan))) == pytest.approx(own)


@given(st.lists(st.tuples(st.floats(0.2, 25.0), st.floats(0.2, 25.0)), min_size=1, max_size=5))
def test_corners_lie_at_the_last_wheel_speeds_for_which_a_property_holds(spans: list[tuple[float, float]]) -> None:
    # It holds from low to high in each profile, which may lie beyond the ends of the table.
    low, high = np.sort(np.array(spans), axis=1).T
    wheel = np.linspace(1.0, 20.0, GRIDS.coarse)

    def go(points: Floats, rows: Any) -> Any:
        return (points >= low[rows, None]) & (points <= high[rows, None])

    true = go(np.tile(wheel, (low.size, 1)), slice(None))
    who = np.flatnonzero(true.any(axis=1))
    low, high, true = low[who], high[who], true[who]
    first, last = np.argmax(true, axis=1), wheel.size - 1 - np.argmax(true[:, ::-1], axis=1)
    near = (wheel[1] - wheel[0]) / (GRIDS.closer + 1) ** GRIDS.rounds
    for at, step, ends in ((first, -1, np.maximum(low, wheel[0])), (last, 1, np.minimum(high, wheel[-1]))):
        found = _edge(go, lambda done: done, wheel, at, step, GRIDS)
        assert found == pytest.approx(ends, abs=near * (1 + 1e-9))
        assert ((found >= low) & (found <= high)).all()

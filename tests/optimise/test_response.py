"""Ranges of single variables around a plan."""

from __future__ import annotations

import numpy as np
import pytest

from stager.optimise.response import _passing, respond
from tests.constraints.machines import FULL, limit_values


@pytest.mark.parametrize(
    ("plan", "jams", "ends"),
    [(5.0, [], (0.0, 10.0)), (5.0, [2], (3.0, 10.0)), (5.0, [8], (0.0, 7.0)), (5.0, [0, 2, 8, 9], (3.0, 7.0)),
     (4.8, [4], (4.8, 10.0)), (5.2, [6], (0.0, 5.2)), (0.0, [1], (0.0, 0.0)), (10.0, [3], (4.0, 10.0))],
)  # fmt: skip
def test_range_without_jams_is_the_one_around_the_plan(plan: float, jams: list[int], ends: tuple[float, float]) -> None:
    axis = np.arange(11.0)
    found = _passing(np.array([plan, plan]), np.stack([axis, axis]), np.stack([~np.isin(axis, jams), axis > -1]))
    assert found.tolist() == [list(ends), [0.0, 10.0]]


def test_a_value_that_jumps_is_not_interpolated() -> None:
    response = respond(FULL, limit_values(exit_energy=1.2), np.array([11.0]))
    assert response is not None
    followed = {one.name for one in (*response.steady, *response.judged)}
    assert {"exit_energy", "throttle"} <= followed
    assert "later_energy" not in followed
    assert "later_energy" in response.not_followed

"""Ranges of single variables around a plan."""

from __future__ import annotations

import numpy as np
import pytest

from stager.optimise.response import _passing


@pytest.mark.parametrize(
    ("plan", "jams", "ends"),
    [(5.0, [], (0.0, 10.0)), (5.0, [2], (3.0, 10.0)), (5.0, [8], (0.0, 7.0)), (5.0, [0, 2, 8, 9], (3.0, 7.0)),
     (4.8, [4], (4.8, 10.0)), (5.2, [6], (0.0, 5.2)), (0.0, [1], (0.0, 0.0)), (10.0, [3], (4.0, 10.0))],
)  # fmt: skip
def test_range_without_jams_is_the_one_around_the_plan(plan: float, jams: list[int], ends: tuple[float, float]) -> None:
    axis = np.arange(11.0)
    found = _passing(np.array([plan, plan]), np.stack([axis, axis]), np.stack([~np.isin(axis, jams), axis > -1]))
    assert found.tolist() == [list(ends), [0.0, 10.0]]

"""The range of wheel speeds ends where the first limit of kind WHEEL breaks, whatever its course."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.constraints.limit import ROUNDING, Kind, Limit
from stager.constraints.wheels import COARSE_POINTS, FINE_POINTS, GREATEST_WHEEL_SPEED, REFINEMENTS, range_of
from stager.model.arrays import Floats
from tests.constraints.machines import FULL, limit_values

COURSES: dict[str, Callable[[Floats, float], Floats]] = {
    "linear": lambda speed, end: speed / end,
    "with the square of speed": lambda speed, end: (speed / end) ** 2,
    "a jump": lambda speed, end: np.where(speed <= end, 0.3, 40.0),
    "falling first": lambda speed, end: 0.9 - speed / end + (speed / end) ** 2 * 1.1,
    "kept again far above": lambda speed, end: np.where(speed > end + 15.0, 0.0, speed / end),
}
"""Value of a limit over wheel speed [m/s]; its bound is 1, first exceeded at `end`."""
STEP = GREATEST_WHEEL_SPEED / (COARSE_POINTS - 1) / (FINE_POINTS - 1) ** REFINEMENTS
"""Width of the last grid [m/s]."""


def made_up(course: Callable[[Floats, float], Floats], end: float, name: str = "made_up") -> Limit:
    return Limit(
        name=name, kind=Kind.WHEEL, unit="-", bound=lambda point: 1.0, remedy=lambda point: "",
        value=lambda point: course(point.throw.stages.wheel_speed_a[..., 0], end),
    )  # fmt: skip


@pytest.mark.parametrize("course", COURSES)
@given(end=st.floats(0.5, 190.0), other=st.floats(1.05, 3.0), margin=st.sampled_from([0.0, 0.05]))
def test_range_ends_where_the_first_limit_breaks(course: str, end: float, other: float, margin: float) -> None:
    value = COURSES[course]
    first = made_up(value, end)
    later = made_up(COURSES["linear"], other * end, "later")
    margins = {"made_up": margin}
    for limits in ((first, later), (later, first)):
        found = range_of(FULL, limit_values(), 0, limits, margins)
        top = float(found.top)
        assert found.ends_by == "made_up"
        assert value(np.asarray(max(top - STEP, 0.0)), end) <= 1 - margin
        assert value(np.asarray(top * 1.001 + STEP), end) > 1 - margin


@pytest.mark.parametrize("power", [1, 2])
@given(end=st.floats(20.0, 190.0))
def test_range_of_a_smooth_limit_ends_within_its_rounding(power: int, end: float) -> None:
    # Between the speeds of the last grid the slack is taken as linear, to 7e-9 of the speed here.
    found = range_of(FULL, limit_values(), 0, (made_up(lambda speed, end: (speed / end) ** power, end),))
    assert 1 - 1e-8 <= float(found.top) / end <= 1 + ROUNDING


def test_limit_broken_at_rest_leaves_no_range() -> None:
    found = range_of(FULL, limit_values(), 0, (made_up(lambda speed, end: 2.0 + speed, 1.0),))
    assert float(found.top) == 0.0


def test_range_without_a_limit_ends_at_the_greatest_speed() -> None:
    free, throw = made_up(lambda speed, end: 0.0 * speed, 1.0), made_up(COURSES["linear"], 5.0)
    object.__setattr__(throw, "kind", Kind.THROW)
    found = range_of(FULL, limit_values(), 0, (free, throw))
    assert (float(found.top), found.ends_by) == (GREATEST_WHEEL_SPEED, "range")

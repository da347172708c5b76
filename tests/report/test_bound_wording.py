"""Wording of the distance between a plan and its upper bound."""

from __future__ import annotations

import pytest

from stager.bounds import Bound
from stager.report.plan import fewest, nearness, reaches

NONE = "No settings within the limits exceed"


@pytest.mark.parametrize(
    ("top", "reached", "message"),
    [
        (24.17, 24.17, f"{NONE} 24.17 m/s; the fastest reaches that."),
        (24.17, 24.153, f"{NONE} 24.17 m/s, 0.07 % more."),
        (29.82, 15.84, f"{NONE} 29.82 m/s; the fastest reaches 53 % of that, so the bound tells little."),
        (50.0, 10.0, f"{NONE} 50.00 m/s; the fastest reaches 20 % of that, so the bound tells little."),
        (24.17, None, f"{NONE} 24.17 m/s."),
    ],
)
def test_wording_follows_the_gap_to_the_bound(top: float, reached: float | None, message: str) -> None:
    assert nearness(top, reached) == message


def test_plan_above_its_bound_is_reported_as_an_error() -> None:
    assert "the bound is wrong" in nearness(20.0, 21.0)


def test_bound_close_below_the_goal_is_not_shown_as_reachable() -> None:
    close, far = (Bound((0.8, 7.78, top, 13.4), 15.0, asked=11.0) for top in (10.989, 10.5))
    assert fewest(close.speeds, 11.0, 3) == "Fewer stages are not enough: 2 stages cannot reach 11.00 m/s."
    assert fewest(far.speeds, 11.0, 3) == "Fewer stages are not enough: 2 stages can reach at most 10.50 m/s."


def test_reaches_within_the_solver_tolerance() -> None:
    assert reaches((1.2, 15.5, 21.999), 22.0)
    assert not reaches((1.2, 15.5), 22.0)

"""How near a plan comes to its bound, in words that are true of tight and of loose ones."""

from __future__ import annotations

import pytest

from stager.report.certificate import nearness

NONE = "No wheel speeds within the limits throw faster than"


@pytest.mark.parametrize(
    ("top", "reached", "said"),
    [
        (24.17, 24.17, f"{NONE} 24.17 m/s; this plan reaches that."),
        (24.17, 24.153, f"{NONE} 24.17 m/s; this plan is within 0.07 % of that."),
        (29.82, 15.84, f"{NONE} 29.82 m/s; this plan reaches 53 % of that, so the bound tells little."),
        (50.0, 10.0, f"{NONE} 50.00 m/s; this plan reaches 20 % of that, so the bound tells little."),
        (24.17, None, f"{NONE} 24.17 m/s."),
    ],
)
def test_a_loose_bound_is_not_called_near(top: float, reached: float | None, said: str) -> None:
    assert nearness(top, reached) == said


def test_a_bound_that_is_beaten_is_wrong() -> None:
    assert "the bound is wrong" in nearness(20.0, 21.0)

"""Formatting of numbers: significant digits, signs of zero, rounded counts, words; range of the sweep figure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.optimise.sweep import Sweep
from stager.report import drives
from stager.report.figures.of_throw import SweepCurve, sweep_picture
from stager.report.numbers import about, digits, listing, percent, plural, signed, small_percent, speed


@given(st.floats(-1e-3, 1e-3))
def test_rounded_zero_has_no_minus_sign(share: float) -> None:
    for text in (percent(share), percent(share, 0), small_percent(share), speed(share), signed(share)):
        assert not text.startswith(("-0 ", "-0.0 ", "-0.00"))


SETTLED = {"rate_1_s": 5.0, "exit_speed_m_s": 12.0, "outlet_speed_m_s": 12.0, "jammed": False}


@given(st.floats(0.0, 1e-3))
def test_small_loss_is_written_without_exponent(loss: float) -> None:
    settled = {**SETTLED, "loss_fraction": loss}
    (note,) = drives.settled_note(settled)
    assert "e-" not in note


def test_zero_loss_is_worded() -> None:
    (note,) = drives.settled_note({**SETTLED, "loss_fraction": 2.2e-9})
    assert note == "At 5.00 throws a second it settles at 12.00 m/s, no loss."


@pytest.mark.parametrize(("count", "text"), [(106_759.2, "110 000"), (1_849, "1 800"), (87.4, "87"), (0.4, "0")])
def test_count_is_rounded_to_two_digits(count: float, text: str) -> None:
    assert about(count) == text
    assert digits(float("nan")) == "-"


def test_sweep_figure_includes_throws_beyond_the_curve() -> None:
    curve = Sweep(
        stage=1, before_a=np.zeros(0), before_b=np.zeros(0), entry_speed=1.0, coupled=False, top=20.0,
        wheel_speed=np.linspace(0, 20, 5), exit_speed=np.linspace(0, 15, 5), grip_speed=None, grip_exit=None,
        ends_by="wheel_speed",
    )  # fmt: skip
    far = np.array([[26.0, 19.0]])
    figure = sweep_picture(SweepCurve(sweep=curve, measured=far)).paint()
    (plot,) = figure.axes
    assert plot.get_xlim()[1] > 26.0
    assert plot.get_ylim()[1] > 19.0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.3456, "12.3"),
        (1234.5, "1234"),
        (0.00012345, "0.000123"),
        (9.9996, "10.0"),
        (-0.5, "-0.500"),
        (1e-7, "1.00e-07"),
        (0.0, "0"),
        (None, "-"),
        (math.nan, "-"),
        (math.inf, "unlimited"),
    ],
)
def test_number_is_rounded_to_three_significant_digits(value: float | None, text: str) -> None:
    assert digits(value) == text


def test_speeds_shares_plurals_and_lists_are_formatted() -> None:
    assert speed(-0.001) == "0.00"
    assert percent(0.0795) == "8.0 %"
    assert [signed(share) for share in (0.0123, -0.2, -0.0001, math.nan)] == ["+1.2 %", "-20.0 %", "0.0 %", "-"]
    assert [plural(n, "stage") for n in (0, 1, 2)] == ["0 stages", "1 stage", "2 stages"]
    assert listing(["a", "b", "c"]) == "a, b and c"


def test_pusher_that_is_needed_says_that_throws_are_computed_without_it() -> None:
    known = {"force_N": 4.0, "force_needed_from_rest_N": 0.2, "follow_force_N": 4.0, "follow_m": 2e-3, "enough": True}
    (needed,) = drives.pusher_notes({**known, "force_needed_N": 0.08})
    (spare,) = drives.pusher_notes({**known, "force_needed_N": 0.0})
    assert needed.endswith("are enough; throws are computed without its push, and so jam.")
    assert spare.endswith("The pusher's 4.00 N are enough.")

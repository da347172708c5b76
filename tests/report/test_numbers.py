"""Numbers that are said: no digits that nobody knows, nothing below nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.optimise.sweep import Sweep
from stager.report import drives
from stager.report.figures.of_sweep import SweepCurve, sweep_picture
from stager.report.numbers import about, digits, percent, signed, small_percent, speed


@given(st.floats(-1e-3, 1e-3))
def test_nothing_is_less_than_nothing(share: float) -> None:
    for text in (percent(share), percent(share, 0), small_percent(share), speed(share), signed(share)):
        assert not text.startswith(("-0 ", "-0.0 ", "-0.00"))


@given(st.floats(0.0, 1e-3))
def test_small_losses_have_no_exponent(loss: float) -> None:
    settled = {"rate_1_s": 5.0, "exit_speed_m_s": 12.0, "loss_fraction": loss, "jammed": False}
    (said,) = drives.settled_note(settled)
    assert "e-" not in said


def test_what_loses_nothing_is_said_to() -> None:
    (said,) = drives.settled_note({"rate_1_s": 5.0, "exit_speed_m_s": 12.0, "loss_fraction": 2.2e-9, "jammed": False})
    assert said == "At 5.00 throws a second it settles at 12.00 m/s, no loss."


@pytest.mark.parametrize(("count", "said"), [(106_759.2, "110 000"), (1_849, "1 800"), (87.4, "87"), (0.4, "0")])
def test_large_counts_are_rounded(count: float, said: str) -> None:
    assert about(count) == said
    assert digits(float("nan")) == "-"


def test_what_was_measured_beyond_the_curve_is_shown() -> None:
    curve = Sweep(
        stage=1, before_a=np.zeros(0), before_b=np.zeros(0), entry_speed=1.0, wheel_speed=np.linspace(0, 20, 5),
        exit_speed=np.linspace(0, 15, 5), grip_speed=None, grip_exit=None, top=20.0, ends_by="wheel_speed",
    )  # fmt: skip
    far = np.array([[26.0, 19.0]])
    figure = sweep_picture(SweepCurve(sweep=curve, measured=far)).paint()
    (plot,) = figure.axes
    assert plot.get_xlim()[1] > 26.0
    assert plot.get_ylim()[1] > 19.0

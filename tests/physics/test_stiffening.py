"""A nip that stiffens with wheel speed: force, throw and grip limit."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.model.launcher import Launcher
from stager.model.stage import PAIR
from stager.physics.chain import transit
from stager.physics.grip_limit import grip_limit
from stager.physics.mechanics import peak_normal
from tests.optimise.machines import HEAVY, HOLLOW, PLATEAU


def stiffening(launcher: Launcher, rate: float) -> Launcher:
    return replace(launcher, contact=replace(launcher.contact, stiffening=rate))


@given(
    rate=st.floats(-0.05, 0.05), exponent=st.floats(1.0, 2.0), speed=st.floats(0.0, 40.0), other=st.floats(0.0, 40.0)
)  # fmt: skip
def test_normal_force_grows_with_the_mean_speed_of_both_wheels(
    rate: float, exponent: float, speed: float, other: float
) -> None:
    # Each side of a pair takes half of the crush, and k·dⁿ is the force of one; the wheels do not grow here.
    assert HEAVY.template.layout is PAIR
    machine = replace(HEAVY, contact=replace(HEAVY.contact, stiffening=rate, exponent=exponent))
    expected = HEAVY.contact.stiffness * 0.002**exponent * exp(rate * (speed + other) / 2)
    assert float(peak_normal(machine, 0, speed, other)) == pytest.approx(expected, rel=1e-12)


@given(speed=st.floats(3.0, 30.0), rate=st.floats(-0.03, 0.03))
def test_throw_is_that_of_a_nip_as_stiff_as_it_is_at_this_speed(speed: float, rate: float) -> None:
    stiff = replace(HOLLOW, contact=replace(HOLLOW.contact, stiffness=HOLLOW.contact.stiffness * exp(rate * speed)))
    entry, wheel = np.array([2.0]), np.array([speed])
    found, expected = (transit(one, 0, entry, wheel) for one in (stiffening(HOLLOW, rate), stiff))
    assert found.exit_speed == pytest.approx(expected.exit_speed, rel=1e-9)


def test_a_nip_that_stiffens_grips_faster_wheels() -> None:
    entry, spin, top = np.array([1.2]), np.zeros(1), np.array([80.0])
    limits = [float(grip_limit(stiffening(HEAVY, rate), 0, entry, spin, top).wheel_speed[0]) for rate in (0.0, 0.005)]
    assert limits[0] < limits[1] < 1.2 * limits[0]
    # With constant friction the force grows without end, so that there is no grip limit.
    assert np.isnan(grip_limit(stiffening(PLATEAU, 0.03), 0, entry, spin, top).wheel_speed[0])

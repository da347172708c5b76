"""Behind the last wheel: energy loss in the outlet, air drag to the chronograph, instrument factors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Measuring, Outlet
from stager.model.projectile import BALL, DISC, Shape
from stager.physics.air import SEA_LEVEL, sphere_coefficient
from stager.physics.barrel import length
from stager.physics.flight import indicated_speed, last_wheel_speed, outlet_speed, speed_before_outlet
from tests.physics.machines import launcher


def _launcher(**fields: object) -> Launcher:
    return replace(launcher(), **fields)  # type: ignore[arg-type]


@given(st.floats(1.0, 80.0), st.floats(0.0, 20.0))
def test_outlet_removes_its_energy_loss(speed: float, loss: float) -> None:
    found = _launcher(outlet=Outlet(loss=loss))
    mass = float(found.projectile.mass)
    out = float(outlet_speed(found, np.array(speed)))
    energy = mass * speed**2 / 2
    assert mass * out**2 / 2 == pytest.approx(max(energy - loss, 0.0), rel=1e-9, abs=1e-9)
    if energy > 1.001 * loss:
        assert float(speed_before_outlet(found, np.array(out))) == pytest.approx(speed, rel=1e-9)


def test_speeds_are_unchanged_without_outlet_and_measuring_tables() -> None:
    speeds = np.array([0.0, 3.0, 30.0])
    for function in (outlet_speed, indicated_speed, last_wheel_speed, speed_before_outlet):
        np.testing.assert_array_equal(function(_launcher(), speeds), speeds)


def test_air_drag_slows_the_ball_before_the_chronograph() -> None:
    found = _launcher(measuring=Measuring(distance=2.0))
    mass, diameter = float(found.projectile.mass), float(found.projectile.diameter)
    area = np.pi * diameter**2 / 4

    def slope(_: float, speed: Floats) -> Floats:
        """Return dv/dx = −½ρv²CA/(mv) [1/s]."""
        drag = sphere_coefficient(speed * diameter / SEA_LEVEL.kinematic_viscosity)
        return -SEA_LEVEL.density * speed * drag * area / (2 * mass)

    exact = solve_ivp(slope, (0.0, 2.0), [20.0], rtol=1e-10).y[0, -1]
    assert float(indicated_speed(found, np.array(20.0))) == pytest.approx(exact, rel=1e-3)
    assert exact < 19.9


@given(st.floats(2.0, 60.0), st.floats(0.5, 2.0), st.floats(0.0, 5.0))
def test_last_wheel_speed_inverts_indicated_speed(speed: float, factor: float, distance: float) -> None:
    found = _launcher(outlet=Outlet(loss=0.01), measuring=Measuring(exit_speed=factor, distance=distance))
    seen = indicated_speed(found, np.array(speed))
    assert float(last_wheel_speed(found, seen)) == pytest.approx(speed, rel=2e-3)


@pytest.mark.parametrize("shape", [BALL, DISC], ids=["ball", "disc"])
def test_chronograph_factor_divides_the_indicated_speed(shape: Shape) -> None:
    # Only air before a distant chronograph takes the frontal area, and with it the thickness of a disc.
    found = replace(launcher(shape=shape), measuring=Measuring(exit_speed=1.05))
    assert float(indicated_speed(found, np.array(21.0))) == pytest.approx(20.0)
    assert float(last_wheel_speed(found, np.array(20.0))) == pytest.approx(21.0)


def test_projectile_stopped_in_the_outlet_indicates_zero() -> None:
    found = _launcher(outlet=Outlet(loss=1e3), measuring=Measuring(exit_speed=1.05, distance=1.0))
    assert float(indicated_speed(found, np.array(21.0))) == 0.0


def test_outlet_adds_to_the_length() -> None:
    assert length(_launcher(outlet=Outlet(length=0.08)), 2) == pytest.approx(length(_launcher(), 2) + 0.08)

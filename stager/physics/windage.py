"""Air friction of a disc that turns freely in still air, both faces.

Below the transition the boundary layer is laminar everywhere. Above it a laminar core of the transition's Reynolds
number stays within a turbulent ring: the moment is continuous, and the larger of two laws is nowhere taken.
"""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Floats, Number
from stager.hardware.wheel import Wheel
from stager.physics.air import SEA_LEVEL, Air

TRANSITION = 3e5
"""Reynolds number ωR²/ν where turbulence sets in [-]; Schlichting, Boundary-Layer Theory, from memory."""
LAMINAR, TURBULENT = 3.87, 0.146
"""Moment coefficients Cm·Re^½ and Cm·Re^⅕ of both faces (von Kármán 1921; Schlichting); see `moment`."""
EXCESS = TURBULENT * TRANSITION**-0.2 - LAMINAR * TRANSITION**-0.5


def reynolds(radius: Number, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """ωR²/ν [-] of a disc of `radius` [m] at `angular_speed` [rad/s]; shapes broadcast."""
    return np.asarray(angular_speed * radius**2 / air.kinematic_viscosity, dtype=np.float64)


def laminar_coefficient(number: Number) -> Floats:
    """Cm = 3.87·Re^−½ [-] at Reynolds number `number` [-]."""
    return LAMINAR * np.asarray(number, dtype=np.float64) ** -0.5


def turbulent_coefficient(number: Number) -> Floats:
    """Cm = 0.146·Re^−⅕ [-] (1/7-power profile) at Reynolds number `number` [-]."""
    return TURBULENT * np.asarray(number, dtype=np.float64) ** -0.2


def coefficient(number: Number) -> Floats:
    """Cm [-]: laminar, or a turbulent disc whose core of Re = TRANSITION is laminar; `number` [-] > 0.

    The core's share of the moment goes with r⁵, that is with Re^2.5.
    """
    number = np.asarray(number, dtype=np.float64)
    mixed = turbulent_coefficient(number) - EXCESS * (TRANSITION / number) ** 2.5
    return np.where(number < TRANSITION, laminar_coefficient(number), mixed)


def moment(radius: Number, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """½·Cm·ρω²R⁵ [N m], both faces, for a disc of `radius` [m] at `angular_speed` ≥ 0 [rad/s]; shapes broadcast."""
    number = np.maximum(reynolds(radius, angular_speed, air), 1e-9)
    return coefficient(number) * air.density * angular_speed**2 * radius**5 / 2


def moment_slope(radius: Number, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Derivative of `moment` by angular speed [N m s], arguments as there."""
    number = np.maximum(reynolds(radius, angular_speed, air), 1e-9)
    core = EXCESS * (TRANSITION / number) ** 2.5
    rising = np.where(
        number < TRANSITION, 1.5 * laminar_coefficient(number), 1.8 * turbulent_coefficient(number) + 0.5 * core
    )
    return rising * air.density * angular_speed * radius**5 / 2


def windage(wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Moment on the two faces of `wheel` [N m] at `angular_speed` [rad/s]; the rim's share is left out."""
    return moment(wheel.radius, angular_speed, air)

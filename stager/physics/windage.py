"""Air friction of a disc that turns freely in still air, both faces.

Below the transition the boundary layer is laminar everywhere. Above it a laminar core of the transition's Reynolds
number stays within a turbulent ring: the moment is continuous, and the larger of two laws is nowhere taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.wheel import Wheel
from stager.physics.air import SEA_LEVEL, Air
from stager.physics.compiled import inlined

TRANSITION = 3e5
"""Reynolds number ωR²/ν where turbulence sets in [-]; Schlichting, Boundary-Layer Theory, from memory."""
LAMINAR, TURBULENT = 3.87, 0.146
"""Moment coefficients Cm·Re^½ and Cm·Re^⅕ of both faces (von Kármán 1921; Schlichting); see `Disc`."""
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


@inlined
def air_moment(angular_speed: float, laminar: float, turbulent: float, core: float, transition: float) -> float:
    """Return the moment [N m] at one `angular_speed` [rad/s], for the kernels; factors as in `Disc`."""
    if angular_speed <= 0.0:
        return 0.0
    if angular_speed > transition:
        return float(turbulent * angular_speed**1.8 - core / sqrt(angular_speed))
    return laminar * angular_speed * sqrt(angular_speed)


@dataclass(frozen=True, slots=True)
class Disc:
    """A disc in air by its factors: moments [N m] are laminar·ω^1.5, turbulent·ω^1.8 less core·ω^−½.

    transition: angular speed where turbulence sets in [rad/s]. Shapes broadcast.
    """

    laminar: Floats
    turbulent: Floats
    core: Floats
    transition: Floats

    def moment(self, angular_speed: Floats) -> Floats:
        """½·Cm·ρω²R⁵ [N m], both faces, at `angular_speed` ≥ 0 [rad/s]."""
        root = np.sqrt(angular_speed)
        smooth = self.laminar * (angular_speed * root)
        rough = angular_speed > self.transition
        if not rough.any():
            return smooth
        speed = np.where(rough, angular_speed, 1.0)
        return np.where(rough, self.turbulent * speed**1.8 - self.core / np.sqrt(speed), smooth)

    def slope(self, angular_speed: Floats) -> Floats:
        """Derivative of `moment` by angular speed [N m s]."""
        speed = np.maximum(angular_speed, 1e-9)
        rough = 1.8 * self.turbulent * speed**0.8 + 0.5 * self.core * speed**-1.5
        return np.where(speed > self.transition, rough, 1.5 * self.laminar * np.sqrt(speed))


def disc(radius: Number, air: Air = SEA_LEVEL) -> Disc:
    """A disc of `radius` [m]; shapes broadcast."""
    turn = np.asarray(radius**2 / air.kinematic_viscosity, dtype=np.float64)
    load = air.density * radius**5 / 2
    return Disc(
        laminar=LAMINAR * load * turn**-0.5,
        turbulent=TURBULENT * load * turn**-0.2,
        core=EXCESS * load * (TRANSITION / turn) ** 2.5,
        transition=TRANSITION / turn,
    )


def windage(wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Moment on the two faces of `wheel` [N m] at `angular_speed` [rad/s]; the rim's share is left out."""
    return disc(wheel.radius, air).moment(np.asarray(angular_speed, dtype=np.float64))

"""Convection from turning surfaces to still air."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.air import Air
from stager.physics.windage import reynolds

LAMINAR, TURBULENT = 0.326, 0.015
"""Nu/Re^½ and Nu/Re^0.8 of a turning disc in air, one face, length R. Laminar: von Kármán's flow with the energy
equation at Prandtl number 0.71, exact. Turbulent: mean over the face; Kreith, Dorfman, from memory."""
TRANSITION = 2.4e5
"""Reynolds number ωR²/ν where its boundary layer turns turbulent [-]; from memory."""
STILL = 5.0
"""Film coefficient of free convection from a body at rest [W/(m^2 K)]; typical, from memory."""
MOTOR = 10.0
"""Likewise of a small motor's case, radiation included, some tens of kelvin above the air; typical, from memory."""


def disc_nusselt(number: Number) -> Floats:
    """Mean Nusselt number hR/λ [-] of one face at Reynolds number `number` = ωR²/ν [-].

    Above the transition a laminar core stays: its share of the heat goes with r² h, that is with Re^½ of the core.
    """
    number = np.asarray(number, dtype=np.float64)
    excess = TURBULENT * TRANSITION**0.8 - LAMINAR * TRANSITION**0.5
    mixed = TURBULENT * number**0.8 - excess * np.sqrt(TRANSITION / np.maximum(number, 1e-9))
    return np.where(number < TRANSITION, LAMINAR * np.sqrt(number), mixed)


def disc_film(radius: Number, angular_speed: Number, air: Air) -> Floats:
    """Film coefficient of a turning disc's face [W/(m^2 K)]: radius [m], angular_speed [rad/s].

    Not below that of free convection at rest.
    """
    nusselt = disc_nusselt(reynolds(radius, angular_speed, air))
    return np.maximum(nusselt * air.conductivity / radius, STILL)


def cylinder_nusselt(diameter: Number, angular_speed: Number, air: Air) -> Floats:
    """Nusselt number hD/λ [-] of a turning horizontal cylinder, 0.133·Re^⅔·Pr^⅓ with Re = ωD²/(2ν) up to 4.3e5.

    diameter [m], angular_speed [rad/s]; Kays & Bjorklund, from memory.
    """
    number = angular_speed * diameter**2 / (2 * air.kinematic_viscosity)
    return np.asarray(0.133 * np.cbrt(number) ** 2 * np.cbrt(air.prandtl))

"""Drag of spheres."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.air import SEA_LEVEL, Air

DRAG_CRISIS = 2e5
"""Reynolds number above which a smooth sphere may drag much less than the curve says [-]."""


def sphere_coefficient(number: Number) -> Floats:
    """Drag coefficient [-] of a smooth sphere at Reynolds number `number` [-], up to 2e5.

    24/Re·(1 + 0.152·Re^0.677) + 0.417/(1 + 5070·Re^−0.94); Clift & Gauvin 1970, as the library fluids has it.
    """
    number = np.maximum(np.asarray(number, dtype=np.float64), 1e-9)
    return 24 / number * (1 + 0.152 * number**0.677) + 0.417 / (1 + 5070 * number**-0.94)


def sphere_reynolds(diameter: Number, speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """vD/ν [-] of a sphere of `diameter` [m] at `speed` [m/s]; shapes broadcast."""
    return np.asarray(speed * diameter / air.kinematic_viscosity, dtype=np.float64)


def sphere_drag(diameter: Number, speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """½ρv²·C·πD²/4 [N] against a sphere of `diameter` [m] at `speed` ≥ 0 [m/s]; shapes broadcast."""
    area = np.pi * diameter**2 / 4
    coefficient = sphere_coefficient(sphere_reynolds(diameter, speed, air))
    return np.asarray(coefficient * air.density * speed**2 * area / 2)


def terminal_speed(mass: Number, diameter: Number, gravity: float, air: Air = SEA_LEVEL) -> Floats:
    """Speed [m/s] at which drag is the weight of a sphere of `mass` [kg] and `diameter` [m]; shapes broadcast.

    Buoyancy is left out. Drag rises with speed: bisection on its logarithm.
    """
    shape = np.broadcast_shapes(np.shape(mass), np.shape(diameter))
    low, high = np.full(shape, np.log(1e-6)), np.full(shape, np.log(1e4))
    for _ in range(60):
        middle = (low + high) / 2
        slow = sphere_drag(diameter, np.exp(middle), air) < mass * gravity
        low, high = np.where(slow, middle, low), np.where(slow, high, middle)
    return np.asarray(np.exp((low + high) / 2))

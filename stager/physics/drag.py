"""Drag and lift of spheres."""

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


def lift_coefficient(parameter: Number) -> Floats:
    """Return the lift coefficient [-] of a spinning ball at spin parameter rΩ/v `parameter` [-]; 0 without spin.

    1.120 S/(0.583 + 2.333 S), fitted to thrown baseballs after Nathan, Am. J. Phys. 76 (2008) 119. Footballs (0.10 to
    0.33 for S of 0.04 to 0.40) lie 50 % above it at little spin and 12 % at much; tennis balls are lifted about as
    much, with large scatter (Cross & Lindsey, Sports Engineering 17 (2014) 89). A smooth ball may be lifted less, and
    near Re = 1e5 even the other way: this is the greater number.
    """
    spin = np.abs(np.asarray(parameter, dtype=np.float64))
    return np.asarray(1.120 * spin / (0.583 + 2.333 * spin))


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

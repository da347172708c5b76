"""How much a wheel grows at speed."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Number
from stager.model.stage import Stage
from stager.model.wheel import Wheel


def hub_growth(wheel: Wheel, angular_speed: Number) -> Number:
    """Radial growth of the hub's rim [m] at `angular_speed` [rad/s]; 0 where material or modulus are not known.

    u = ρω²b/(4E)·[(1 − ν)b² + (3 + ν)a²], free rotating annulus, outer radius b, bore radius a, plane stress
    (Timoshenko, Theory of Elasticity; from memory).
    """
    material = wheel.material
    if material is None or material.modulus is None:
        return 0.0 * np.asarray(angular_speed)
    outer, inner = wheel.hub_radius, wheel.bore / 2
    shape = (1 - material.poisson) * outer**2 + (3 + material.poisson) * inner**2
    return material.density * np.asarray(angular_speed) ** 2 * outer / (4 * material.modulus) * shape


def tyre_growth(wheel: Wheel, angular_speed: Number) -> Number:
    """Radial growth of a captive tyre's outside [m] at `angular_speed` [rad/s]; 0 without a tyre.

    ρω²R t²/(2E) to first order, t the tyre's depth: an elastic layer on a rigid hub under its own weight.
    """
    tyre = wheel.tyre
    if tyre is None:
        return 0.0 * np.asarray(angular_speed)
    load = tyre.material.density * np.asarray(angular_speed) ** 2 * wheel.radius
    return load * tyre.depth**2 / (2 * tyre.material.modulus)


def growth(wheel: Wheel, surface_speed: Number) -> Number:
    """Growth of hub and tyre [m] at `surface_speed` [m/s] (referred to the radius at rest)."""
    angular_speed = surface_speed / wheel.radius
    return hub_growth(wheel, angular_speed) + tyre_growth(wheel, angular_speed)


def swell(stage: Stage, wheel_speed: Number, wheel_speed_b: Number) -> Number:
    """Growth into each side of a nip [m] at set surface speeds [m/s].

    Two wheels share the crush equally: with unequal growth (two speeds, an idler at rest) each side has the mean.
    """
    grown = growth(stage.wheel, wheel_speed)
    if not stage.layout.side_b_turns:
        return grown
    other = growth(stage.wheel, wheel_speed_b) if stage.layout.side_b_driven else 0.0
    return (grown + other) / 2

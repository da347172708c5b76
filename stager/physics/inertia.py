"""Mass and moment of inertia of wheels."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Number
from stager.model.stage import Stage
from stager.model.wheel import Wheel


def annulus_inertia(density: Number, width: Number, outer: Number, inner: Number) -> Number:
    """½πρb(r_o⁴ − r_i⁴) [kg m^2]: density [kg/m^3], width [m], radii [m]; shapes broadcast."""
    return np.pi / 2 * density * width * (outer**4 - inner**4)


def wheel_inertia(wheel: Wheel) -> Number:
    """Inertia of hub and tyre [kg m^2]: as given, else of two annuli.

    Raises ValueError where neither the inertia nor width and material are known.
    """
    if wheel.inertia is not None:
        return wheel.inertia
    if wheel.material is None or wheel.width is None:
        raise ValueError("a wheel needs its inertia, or its width and material")
    hub = annulus_inertia(wheel.material.density, wheel.width, wheel.hub_radius, wheel.bore / 2)
    if wheel.tyre is None:
        return hub
    return hub + annulus_inertia(wheel.tyre.material.density, wheel.width, wheel.radius, wheel.hub_radius)


def wheel_mass(wheel: Wheel) -> Number:
    """Mass of hub and tyre [kg]: as given, else of two annuli.

    Raises ValueError where neither the mass nor width and material are known.
    """
    if wheel.mass is not None:
        return wheel.mass
    if wheel.material is None or wheel.width is None:
        raise ValueError("a wheel needs its mass, or its width and material")
    hub = np.pi * wheel.material.density * wheel.width * (wheel.hub_radius**2 - (wheel.bore / 2) ** 2)
    if wheel.tyre is None:
        return hub
    return hub + np.pi * wheel.tyre.material.density * wheel.width * (wheel.radius**2 - wheel.hub_radius**2)


def driven_inertia(stage: Stage) -> Number:
    """Inertia that a driven wheel's contact feels [kg m^2]: wheel, and the rotor by the square of its gear."""
    inertia = wheel_inertia(stage.wheel)
    if stage.drive is None:
        return inertia
    return inertia + stage.drive.rotor_inertia * stage.drive.gear**2

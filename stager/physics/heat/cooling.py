"""How a motor's case, and the wheel on it, give their heat to the air."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Heat
from stager.model.wheel import Wheel
from stager.physics.air import SEA_LEVEL, Air
from stager.physics.heat.convection import MOTOR, disc_film
from stager.physics.heat.fins import annular_efficiency

LEAST_ROOT = 0.1
"""Root of a fin by its outer radius [-] where the wheel has no bore."""
CASE_HEAT = 2.5e6
"""Heat capacity of a motor's case by its volume [J/(m^3 K)]: steel, copper and gaps; typical, from memory."""


def case_to_air(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the thermal resistance from case to air [K/W], as given or of surfaces that give heat to the air.

    These are the motor's own, the hub of the wheel on its shaft (see `hub_conductance`) and fins on it (rings around
    the axis, from the bore outward), hub and fins by their efficiency with the film of a turning disc at
    `angular_speed` [rad/s]. Shapes broadcast.
    """
    if heat.case_to_air is not None:
        return np.asarray(heat.case_to_air + 0.0 * np.asarray(angular_speed))
    fins = fin_conductance(heat, wheel, angular_speed, air)
    return 1 / (motor_conductance(heat) + hub_conductance(wheel, angular_speed, air) + fins)


def motor_conductance(heat: Heat) -> Floats:
    """Return what the motor's own surface passes to the air [W/K]: a cylinder as long as wide, of its heat capacity."""
    diameter = np.cbrt(4 * np.asarray(heat.case_capacity) / (np.pi * CASE_HEAT))
    return np.asarray(MOTOR * 1.5 * np.pi * diameter**2)


def hub_conductance(wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return what the wheel's hub passes to the air [W/K] at `angular_speed` [rad/s].

    A fin of the wheel's width around the shaft (Incropera, annular fin): metal is nearly as warm as the shaft, of
    plastic only the innermost part gives off any heat. 0 where width or conductivity are not known.
    """
    if wheel.material is None or wheel.material.conductivity is None or wheel.width is None:
        return 0.0 * np.asarray(angular_speed)
    outer = wheel.hub_radius
    inner = np.maximum(wheel.bore / 2, LEAST_ROOT * outer)
    film = disc_film(outer, angular_speed, air)
    efficiency = annular_efficiency(inner, outer, wheel.width, wheel.material.conductivity, film)
    return np.asarray(2 * np.pi * (outer**2 - inner**2) * efficiency * film)


def fin_conductance(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return what the fins of `heat` pass to the air [W/K] at `angular_speed` [rad/s]; 0 without fins."""
    given = (heat.fin_count, heat.fin_diameter, heat.fin_thickness, heat.fin_conductivity)
    if any(value is None for value in given):
        return 0.0 * np.asarray(angular_speed)
    count, diameter, thickness, conductivity = (np.asarray(value, dtype=np.float64) for value in given)
    outer = diameter / 2
    inner = np.maximum(wheel.bore / 2, LEAST_ROOT * outer)
    film = disc_film(outer, angular_speed, air)
    efficiency = annular_efficiency(inner, outer, thickness, conductivity, film)
    return np.asarray(count * 2 * np.pi * (outer**2 - inner**2) * efficiency * film)

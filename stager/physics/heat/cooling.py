"""How a motor's case, and the wheel on it, give their heat to the air."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Heat
from stager.model.wheel import Wheel
from stager.physics.air import SEA_LEVEL, Air
from stager.physics.heat.convection import disc_film
from stager.physics.heat.fins import annular_efficiency

LEAST_ROOT = 0.1
"""Root of a fin by its outer radius [-] where the wheel has no bore."""


def case_to_air(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Thermal resistance from case to air [K/W]: as given, else of the turning wheel and its fins.

    The wheel's two faces at one temperature, and fins on it (rings around the axis, from the bore outward) by their
    efficiency, all with the film of a turning disc at `angular_speed` [rad/s]. Shapes broadcast.
    """
    if heat.case_to_air is not None:
        return np.asarray(heat.case_to_air + 0.0 * np.asarray(angular_speed))
    faces = 2 * np.pi * wheel.radius**2 * disc_film(wheel.radius, angular_speed, air)
    return 1 / (faces + fin_conductance(heat, wheel, angular_speed, air))


def fin_conductance(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """What the fins of `heat` pass to the air [W/K] at `angular_speed` [rad/s]; 0 without fins."""
    given = (heat.fin_count, heat.fin_diameter, heat.fin_thickness, heat.fin_conductivity)
    if any(value is None for value in given):
        return 0.0 * np.asarray(angular_speed)
    count, diameter, thickness, conductivity = (np.asarray(value, dtype=np.float64) for value in given)
    outer = diameter / 2
    inner = np.maximum(wheel.bore / 2, LEAST_ROOT * outer)
    film = disc_film(outer, angular_speed, air)
    efficiency = annular_efficiency(inner, outer, thickness, conductivity, film)
    return np.asarray(count * 2 * np.pi * (outer**2 - inner**2) * efficiency * film)

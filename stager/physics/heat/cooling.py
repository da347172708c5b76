"""How a motor's case, and the wheel on it, give their heat to the air: convection, fins, radiation."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Heat
from stager.model.wheel import Wheel
from stager.physics.air import SEA_LEVEL, Air, reynolds

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
    """Return the mean Nusselt number hR/λ [-] of one face at Reynolds number `number` = ωR²/ν [-].

    Above the transition a laminar core stays: its share of the heat goes with r² h, that is with Re^½ of the core.
    """
    number = np.asarray(number, dtype=np.float64)
    excess = TURBULENT * TRANSITION**0.8 - LAMINAR * TRANSITION**0.5
    mixed = TURBULENT * number**0.8 - excess * np.sqrt(TRANSITION / np.maximum(number, 1e-9))
    return np.where(number < TRANSITION, LAMINAR * np.sqrt(number), mixed)


def disc_film(radius: Number, angular_speed: Number, air: Air) -> Floats:
    """Return the film coefficient of a turning disc's face [W/(m^2 K)]: radius [m], angular_speed [rad/s].

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


def straight_efficiency(length: Number, thickness: Number, conductivity: Number, film: Number) -> Floats:
    """tanh(mL)/(mL) [-], m = √(2h/(kt)), of a straight fin with an insulated tip; lengths [m], conductivity
    [W/(m K)], film coefficient [W/(m^2 K)]. For a tip that gives off heat add half the thickness to the length."""
    slope = np.sqrt(2 * film / (conductivity * thickness)) * length
    return np.asarray(np.tanh(slope) / slope)


def annular_efficiency(inner: Number, outer: Number, thickness: Number, conductivity: Number, film: Number) -> Floats:
    """Efficiency of an annular fin of even thickness [-], insulated tip; radii [m], as in `straight_efficiency`.

    2a/(m(b² − a²))·[K₁(ma)I₁(mb) − I₁(ma)K₁(mb)]/[I₀(ma)K₁(mb) + K₀(ma)I₁(mb)] (Gardner 1945; Incropera, ch. 3).
    Scaled Bessel functions, so that long thin fins do not overflow.
    """
    from scipy.special import i0e, i1e, k0e, k1e

    slope = np.sqrt(2 * film / (conductivity * thickness))
    root, tip = slope * inner, slope * outer
    away = np.exp(-2 * (tip - root))
    above = k1e(root) * i1e(tip) - i1e(root) * k1e(tip) * away
    below = i0e(root) * k1e(tip) * away + k0e(root) * i1e(tip)
    return np.asarray(2 * inner / (slope * (outer**2 - inner**2)) * above / below)


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

"""The wheel as a rotor: what it bears, where it bursts, what is stored in it.

A tyre that hangs on the hub (bonded, or held by a lip) pulls at the hub's rim with its whole weight; one that is
stretched or clamped on carries itself. Speeds are surface speeds, referred to the wheel's radius at rest.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.material import WheelMaterial
from stager.model.wheel import Hold, Wheel
from stager.physics.inertia import wheel_inertia
from stager.physics.stress import greatest_hoop, mean_hoop, pulled_hoop

PINHOLE = 1e-4
"""Hole of a wheel whose bore is not known, by the hub's radius [-]: the stress around it is that of any small hole."""
HANGING = (Hold.BOND, Hold.LIP)


def working_strength(material: WheelMaterial) -> Number:
    """Stress that the hub bears [Pa]: yield strength, of a brittle one tensile strength, each by strength_factor.

    The one that is known where the other is not; inf where neither is.
    """
    first, second = material.yield_strength, material.tensile_strength
    if material.brittle:
        first, second = second, first
    known = first if first is not None else second
    return np.inf if known is None else known * material.strength_factor


def tyre_pull(wheel: Wheel, angular_speed: Number) -> Floats:
    """Pull of the tyre's weight on each area of the hub's rim [Pa] at `angular_speed` [rad/s]; 0 if it carries itself.

    ρω²·(R³ − b³)/(3b), b the hub's outer radius.
    """
    tyre = wheel.tyre
    if tyre is None or tyre.held_by not in HANGING:
        return 0.0 * np.asarray(angular_speed)
    reach = (wheel.radius**3 - wheel.hub_radius**3) / (3 * wheel.hub_radius)
    return np.asarray(tyre.material.density * np.square(angular_speed) * reach)


def peak_hoop(wheel: Wheel, angular_speed: Number) -> Floats:
    """Greatest hoop stress of the hub [Pa] at `angular_speed` [rad/s]. Raises ValueError without a material."""
    material, outer, inner = _hub(wheel)
    load = material.density * np.square(angular_speed)
    own = greatest_hoop(outer, inner, load, material.poisson)
    return own + pulled_hoop(tyre_pull(wheel, angular_speed), outer, inner)


def section_hoop(wheel: Wheel, angular_speed: Number) -> Floats:
    """Mean hoop stress over the hub's section [Pa] at `angular_speed` [rad/s]. Raises ValueError without a material."""
    material, outer, inner = _hub(wheel)
    load = material.density * np.square(angular_speed)
    return mean_hoop(outer, inner, load) + tyre_pull(wheel, angular_speed) * outer / (outer - inner)


def rim_safety(wheel: Wheel, wheel_speed: Number) -> Floats:
    """Working strength by the greatest hoop stress [-] at `wheel_speed` [m/s]; inf where the strength is unknown."""
    if wheel.material is None:
        return np.full(np.shape(wheel_speed), np.inf)
    stress = peak_hoop(wheel, wheel_speed / wheel.radius)
    with np.errstate(divide="ignore"):
        return np.asarray(working_strength(wheel.material) / stress)


def allowable_speed(wheel: Wheel, safety: Number) -> Floats:
    """Surface speed [m/s] at which the safety [-] is just kept: stress goes with its square; inf where unknown."""
    return np.sqrt(rim_safety(wheel, 1.0) / safety)


def burst_speed(wheel: Wheel) -> Floats:
    """Surface speed at which the hub bursts [m/s]; inf where its strength is unknown.

    Ductile: mean hoop stress at the tensile strength (Robinson, Trans. ASME 66, 1944); brittle, or of unknown tensile
    strength: greatest hoop stress at the working strength. strength_factor applies to either.
    """
    material = wheel.material
    if material is None:
        return np.asarray(np.inf)
    if material.brittle or material.tensile_strength is None:
        return allowable_speed(wheel, 1.0)
    strength = material.tensile_strength * material.strength_factor
    return np.sqrt(strength / section_hoop(wheel, 1 / wheel.radius))


def unknown_strength(wheel: Wheel) -> str | None:
    """Return the key that is missing for `rim_safety`; None where there is none."""
    material = wheel.material
    if material is None:
        return "stage.wheel.material"
    if not wheel.solid and not np.any(wheel.bore):
        return "stage.wheel.bore"
    if material.yield_strength is not None or material.tensile_strength is not None:
        return None
    return "stage.wheel.tensile_strength" if material.brittle else "stage.wheel.yield_strength"


def unknown_burst(wheel: Wheel) -> str | None:
    """Return the key that is missing for `burst_speed`; None where there is none."""
    lacking = unknown_strength(wheel)
    return "stage.wheel.tensile_strength" if lacking == "stage.wheel.yield_strength" else lacking


def stored_energy(wheel: Wheel, wheel_speed: Number) -> Number:
    """½Jω² of hub and tyre [J] at `wheel_speed` [m/s]."""
    return wheel_inertia(wheel) * (wheel_speed / wheel.radius) ** 2 / 2


def fragment_energy(wheel: Wheel, wheel_speed: Number) -> Number:
    """Return the energy of a third of the wheel that breaks away at `wheel_speed` [J], its spin included.

    It flies off with what it has in the turning wheel, a third of `stored_energy`: its centre of mass goes on straight,
    and it goes on turning. For choosing a guard: energy only.
    """
    return stored_energy(wheel, wheel_speed) / 3


def imbalance_force(mass: Number, grade: Number, angular_speed: Number) -> Number:
    """Turning force on the shaft [N] of a rotor of `mass` [kg] balanced to a grade.

    ISO 21940-11 names grades by e·ω: G 6.3 is 6.3e-3 [m/s]; F = m·(eω)·ω with angular_speed [rad/s].
    """
    return mass * grade * angular_speed


def _hub(wheel: Wheel) -> tuple[WheelMaterial, Number, Number]:
    if wheel.material is None:
        raise ValueError("stresses need the wheel's material")
    bore = wheel.bore / 2
    return wheel.material, wheel.hub_radius, bore if wheel.solid else np.maximum(bore, PINHOLE * wheel.hub_radius)

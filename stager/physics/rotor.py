"""The wheel as a rotor: mass, inertia, growth, stress, burst speed, stored energy.

A tyre that is bonded or held by a lip loads the hub's rim with its whole centrifugal force; one that is stretched or
clamped on carries itself. Speeds are surface speeds, referred to the wheel's radius at rest.

Stresses are those of turning discs and rings of uniform thickness, plane stress, free rims: Timoshenko & Goodier,
Theory of Elasticity; Hearn, Mechanics of Materials 2, ch. 4; Roark's Formulas, table of rotating discs. All shapes
broadcast; `inner` = 0 is a solid disc, whose stress at the centre is half of that at the edge of a small hole.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Hold, Stage, Wheel, WheelMaterial


def annulus_inertia(density: Number, width: Number, outer: Number, inner: Number) -> Number:
    """Return ½πρb(r_o⁴ − r_i⁴) [kg m^2]: density [kg/m^3], width [m], radii [m]; shapes broadcast."""
    return np.pi / 2 * density * width * (outer**4 - inner**4)


def wheel_inertia(wheel: Wheel) -> Number:
    """Return the inertia of hub and tyre [kg m^2]: given, else that of two annuli.

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
    """Return the mass of hub and tyre [kg]: given, else that of two annuli.

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
    """Return the inertia at a driven wheel [kg m^2]: of the wheel, plus the motor's rotor times gear²."""
    inertia = wheel_inertia(stage.wheel)
    if stage.drive is None:
        return inertia
    return inertia + stage.drive.rotor_inertia * stage.drive.gear**2


def hub_growth(wheel: Wheel, angular_speed: Number) -> Number:
    """Return the radial growth of the hub's rim [m] at `angular_speed` [rad/s]; 0 where its modulus is unknown.

    u = ρω²b/(4E)·[(1 − ν)b² + (3 + ν)a²], free rotating annulus, outer radius b, bore radius a, plane stress
    (strain of the rim by its hoop stress, see `hoop`: u = b·σ/E, the rim being free of radial stress).
    """
    material = wheel.material
    if material is None or material.modulus is None:
        return 0.0 * np.asarray(angular_speed)
    outer, inner = wheel.hub_radius, wheel.bore / 2
    shape = (1 - material.poisson) * outer**2 + (3 + material.poisson) * inner**2
    return material.density * np.asarray(angular_speed) ** 2 * outer / (4 * material.modulus) * shape


def tyre_growth(wheel: Wheel, angular_speed: Number) -> Number:
    """Return the radial growth of the tyre's outside [m] at `angular_speed` [rad/s]; 0 without a tyre.

    ρω²R t²/(2E) to first order, t the tyre's depth: an elastic layer on a rigid hub under its centrifugal force.
    """
    tyre = wheel.tyre
    if tyre is None:
        return 0.0 * np.asarray(angular_speed)
    load = tyre.material.density * np.asarray(angular_speed) ** 2 * wheel.radius
    return load * tyre.depth**2 / (2 * tyre.material.modulus)


def growth(wheel: Wheel, surface_speed: Number) -> Number:
    """Return the radial growth of hub and tyre [m] at `surface_speed` [m/s]."""
    angular_speed = surface_speed / wheel.radius
    return hub_growth(wheel, angular_speed) + tyre_growth(wheel, angular_speed)


def nip_growth(stage: Stage, wheel_speed: Number, wheel_speed_b: Number) -> Number:
    """Return the radial growth that adds to each side's crush [m] at set surface speeds [m/s].

    Two wheels share the crush equally, so that each side has the mean of both growths; an idler is at rest.
    """
    grown = growth(stage.wheel, wheel_speed)
    if not stage.layout.side_b_turns:
        return grown
    other = growth(stage.wheel, wheel_speed_b) if stage.layout.side_b_driven else 0.0
    return (grown + other) / 2


def ring_hoop(density: Number, surface_speed: Number) -> Floats:
    """Return the hoop stress of a thin ring, ρu² [Pa]: density [kg/m^3], surface_speed [m/s]."""
    return np.asarray(density * np.square(surface_speed), dtype=np.float64)


def radial(radius: Number, outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Return the radial stress at `radius` [Pa]; radii [m], load ρω² [N/m^4], poisson [-].

    (3 + ν)/8·ρω²·(b² + a² − a²b²/r² − r²).
    """
    return np.asarray((3 + poisson) / 8 * load * (outer**2 + inner**2 - _crossed(radius, outer, inner) - radius**2))


def hoop(radius: Number, outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Return the hoop stress at `radius` [Pa]; arguments as in `radial`.

    (3 + ν)/8·ρω²·(b² + a² + a²b²/r² − (1 + 3ν)/(3 + ν)·r²).
    """
    bend = (1 + 3 * poisson) / (3 + poisson) * radius**2
    return np.asarray((3 + poisson) / 8 * load * (outer**2 + inner**2 + _crossed(radius, outer, inner) - bend))


def greatest_radial(outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Return the greatest radial stress, (3 + ν)/8·ρω²·(b − a)² at r = √(ab) [Pa]; arguments as in `radial`."""
    return np.asarray((3 + poisson) / 8 * load * np.square(outer - inner))


def greatest_hoop(outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Return the greatest hoop stress [Pa]: at the bore, of a solid disc at its centre; arguments as in `radial`."""
    bored = load / 4 * ((3 + poisson) * outer**2 + (1 - poisson) * inner**2)
    return np.where(np.asarray(inner) > 0, bored, (3 + poisson) / 8 * load * outer**2)


def mean_hoop(outer: Number, inner: Number, load: Number) -> Floats:
    """Return the mean hoop stress over the section, ρω²·(b² + ab + a²)/3 [Pa]; arguments as in `radial`."""
    return np.asarray(load / 3 * (outer**2 + outer * inner + inner**2))


def pulled_hoop(pull: Number, outer: Number, inner: Number) -> Floats:
    """Return the hoop stress at the bore from a tension `pull` [Pa] on the outer face [Pa] (Lamé)."""
    bored = np.asarray(inner) > 0
    return np.where(bored, 2 * pull * outer**2 / (outer**2 - inner**2), pull)


def _crossed(radius: Number, outer: Number, inner: Number) -> Floats:
    """Return a²b²/r² [m^2], 0 for a solid disc."""
    at = np.where(np.asarray(inner) > 0, radius, 1.0)
    return np.asarray(inner**2 * outer**2 / at**2)


PINHOLE = 1e-4
"""Radius of an unknown bore, by the hub's [-]: the stress around it is that of any small hole."""
LOADS_HUB = (Hold.BOND, Hold.LIP)
"""Tyres whose centrifugal force the hub carries."""


def working_strength(material: WheelMaterial) -> Number:
    """Return the strength of the hub [Pa]: yield strength, of a brittle one tensile strength, times strength_factor.

    Where that one is unknown the other; inf where both are unknown.
    """
    first, second = material.yield_strength, material.tensile_strength
    if material.brittle:
        first, second = second, first
    known = first if first is not None else second
    return np.inf if known is None else known * material.strength_factor


def tyre_pull(wheel: Wheel, angular_speed: Number) -> Floats:
    """Return the tension of the tyre on the hub's rim [Pa] at `angular_speed` [rad/s]; 0 if the tyre carries itself.

    ρω²·(R³ − b³)/(3b), b the hub's outer radius.
    """
    tyre = wheel.tyre
    if tyre is None or tyre.held_by not in LOADS_HUB:
        return 0.0 * np.asarray(angular_speed)
    reach = (wheel.radius**3 - wheel.hub_radius**3) / (3 * wheel.hub_radius)
    return np.asarray(tyre.material.density * np.square(angular_speed) * reach)


def peak_hoop(wheel: Wheel, angular_speed: Number) -> Floats:
    """Return the greatest hoop stress of the hub [Pa] at `angular_speed` [rad/s].

    Raises ValueError without a material.
    """
    material, outer, inner = _hub(wheel)
    load = material.density * np.square(angular_speed)
    own = greatest_hoop(outer, inner, load, material.poisson)
    return own + pulled_hoop(tyre_pull(wheel, angular_speed), outer, inner)


def section_hoop(wheel: Wheel, angular_speed: Number) -> Floats:
    """Return the mean hoop stress over the hub's section [Pa] at `angular_speed` [rad/s].

    Raises ValueError without a material.
    """
    material, outer, inner = _hub(wheel)
    load = material.density * np.square(angular_speed)
    return mean_hoop(outer, inner, load) + tyre_pull(wheel, angular_speed) * outer / (outer - inner)


def rim_safety(wheel: Wheel, wheel_speed: Number) -> Floats:
    """Return strength / greatest hoop stress [-] at `wheel_speed` [m/s]; inf where the strength is unknown."""
    if wheel.material is None:
        return np.full(np.shape(wheel_speed), np.inf)
    stress = peak_hoop(wheel, wheel_speed / wheel.radius)
    with np.errstate(divide="ignore"):
        return np.asarray(working_strength(wheel.material) / stress)


def allowable_speed(wheel: Wheel, safety: Number) -> Floats:
    """Return the surface speed at which `rim_safety` is `safety` [-] [m/s]; inf where the strength is unknown."""
    return np.sqrt(rim_safety(wheel, 1.0) / safety)


def burst_speed(wheel: Wheel) -> Floats:
    """Return the surface speed at which the hub bursts [m/s]; inf where its strength is unknown.

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
    """Return ½Jω² of hub and tyre [J] at `wheel_speed` [m/s]."""
    return wheel_inertia(wheel) * (wheel_speed / wheel.radius) ** 2 / 2


def fragment_energy(wheel: Wheel, wheel_speed: Number) -> Number:
    """Return the energy of a third of the wheel that breaks away at `wheel_speed` [m/s], its spin included [J].

    It keeps its share of `stored_energy`, a third, as translation and rotation.
    """
    return stored_energy(wheel, wheel_speed) / 3


def imbalance_force(mass: Number, grade: Number, angular_speed: Number) -> Number:
    """Return the rotating force on the shaft [N] of a rotor of `mass` [kg] balanced to a grade.

    ISO 21940-11 names grades by e·ω: G 6.3 is 6.3e-3 [m/s]; F = m·(eω)·ω with angular_speed [rad/s].
    """
    return mass * grade * angular_speed


def _hub(wheel: Wheel) -> tuple[WheelMaterial, Number, Number]:
    if wheel.material is None:
        raise ValueError("stresses need the wheel's material")
    bore = wheel.bore / 2
    return wheel.material, wheel.hub_radius, bore if wheel.solid else np.maximum(bore, PINHOLE * wheel.hub_radius)

"""The wheel as a rotor, how its tyre stays on it, and materials of both by name.

Rotor: mass, inertia, growth, stress, burst speed, stored energy. A tyre that is bonded or held by a lip loads the hub's
rim with its whole centrifugal force; one that is stretched or clamped on carries itself. Speeds are surface speeds
[m/s], referred to the wheel's radius at rest; shapes broadcast.

Stresses are those of turning discs and rings of uniform thickness, plane stress, free rims: Timoshenko & Goodier,
Theory of Elasticity; Hearn, Mechanics of Materials 2, ch. 4; Roark's Formulas, table of rotating discs. `inner` = 0 is
a solid disc, whose stress at the centre is half of that at the edge of a small hole.

Tyre: a ring stretched by ε presses on its hub with its tension Eε. Rotation reduces that by ρu²; at u = √(Eε/ρ) nothing
is left, whatever the radius. A clamp adds friction against outward motion; a lip or a bond carries the remaining stress
(ρu² − Eε)·t/b on the seat (t the tyre's depth, b the hub's radius), until the tyre itself tears. Where a strength is
unknown, the tyre stays on up to `sure_speed`, leaves above `retention_speed`, and between them the outcome is unknown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Hold, Stage, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.compiled import compiled


def gent_modulus(hardness: Number) -> Number:
    """Return Young's modulus [Pa] from Shore A hardness 20…80 [-].

    E/MPa = 0.0981·(56 + 7.62336 S) / (0.137505·(254 − 2.54 S)); Gent, Trans. IRI 34 (1958), as read in codes that
    name him.
    """
    return 1e6 * 0.0981 * (56 + 7.62336 * hardness) / (0.137505 * (254 - 2.54 * hardness))


_TYPICAL = "typical of its kind, from memory"
_CONDUCTIVITY = "thermal conductivity by DIN EN 12524, table of building materials (as kept by the library ht)"
_READ = f"typical, near or below tables of textbooks (Beer & Johnston, ecoursesbook.com, web.mst.edu); {_CONDUCTIVITY}"


def _metal(
    name: str, density: float, modulus: float, poisson: float, strength: float, tensile: float, conductivity: float
) -> WheelMaterial:
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=poisson, yield_strength=strength,
        tensile_strength=tensile, conductivity=conductivity, source=_READ,
    )  # fmt: skip


def _printed(name: str, density: float, modulus: float, strength: float, conductivity: float) -> WheelMaterial:
    """Return a printed plastic: brittle, since cracks start between layers and at pores."""
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.37, yield_strength=strength, tensile_strength=strength,
        strength_factor=0.5, brittle=True, conductivity=conductivity, source=_TYPICAL,
    )  # fmt: skip


def _plastic(
    name: str, density: float, modulus: float, strength: float, tensile: float, conductivity: float, *,
    brittle: bool = False, source: str = _READ,
) -> WheelMaterial:  # fmt: skip
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.38, yield_strength=strength, tensile_strength=tensile,
        brittle=brittle, conductivity=conductivity, source=source,
    )  # fmt: skip


_HUBS = (
    _metal("aluminium", 2700, 70e9, 0.33, 240e6, 290e6, 160.0),
    _metal("steel", 7850, 205e9, 0.29, 250e6, 410e6, 50.0),
    _metal("brass", 8500, 100e9, 0.34, 200e6, 360e6, 120.0),
    _printed("printed PLA", 1240, 3.0e9, 50e6, 0.13),
    _printed("printed PETG", 1270, 2.0e9, 45e6, 0.2),
    _printed("printed ABS", 1040, 2.0e9, 35e6, 0.17),
    _printed("printed nylon", 1100, 1.5e9, 45e6, 0.25),
    _plastic("polycarbonate", 1200, 2.3e9, 55e6, 65e6, 0.2),
    _plastic("acetal", 1410, 2.9e9, 65e6, 65e6, 0.3, source=f"{_TYPICAL}; {_CONDUCTIVITY}"),
    _plastic("nylon", 1140, 2.7e9, 45e6, 75e6, 0.25),
    _plastic("plywood", 700, 6.0e9, 20e6, 20e6, 0.17, brittle=True, source=f"{_TYPICAL}; {_CONDUCTIVITY}"),
)


def _rubber(name: str, hardness: float, density: float, tensile: float) -> TyreMaterial:
    return TyreMaterial(
        name=f"{name} {hardness:g}", density=density, modulus=float(gent_modulus(hardness)),
        tensile_strength=tensile, source=_TYPICAL + "; modulus by Gent's relation from Shore A hardness",
    )  # fmt: skip


_TYRES = (
    *(_rubber("nitrile", hardness, 1250, 12e6) for hardness in (50, 60, 70, 80)),
    *(_rubber("silicone", hardness, 1150, 7e6) for hardness in (40, 50, 60, 70)),
    *(_rubber("natural rubber", hardness, 1100, 20e6) for hardness in (40, 50, 60)),
    *(_rubber("polyurethane", hardness, 1200, 30e6) for hardness in (60, 70, 80)),
)
WHEEL_MATERIALS = {material.name: material for material in _HUBS}
TYRE_MATERIALS = {material.name: material for material in _TYRES}


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
    (strain of the rim by its hoop stress: u = b·σ/E, the rim being free of radial stress).
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


def nip_speed(stage: Stage, wheel_speed: Number, wheel_speed_b: Number) -> Number:
    """Return the surface speed by which a nip stiffens [m/s]: the mean of its driven wheels."""
    return (wheel_speed + wheel_speed_b) / 2 if stage.layout.side_b_driven else wheel_speed


@compiled
def stiffened(stiffness: Any, stiffening: Any, speed: Any) -> Any:
    """Return the stiffness of a nip at a surface speed [m/s], k·e^(s·u); units and shapes of `stiffness`.

    Rubber and foam press back harder the faster they are squeezed. To first order s is the rise for each m/s; the
    exponential keeps the stiffness above 0.
    """
    return stiffness * np.exp(stiffening * speed)


def greatest_hoop(outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Return the greatest hoop stress [Pa]: at the bore, of a solid disc at its centre.

    outer, inner: radii [m]; load: ρω² [N/m^4]; poisson [-].
    """
    bored = load / 4 * ((3 + poisson) * outer**2 + (1 - poisson) * inner**2)
    return np.where(np.asarray(inner) > 0, bored, (3 + poisson) / 8 * load * outer**2)


def mean_hoop(outer: Number, inner: Number, load: Number) -> Floats:
    """Return the mean hoop stress over the section, ρω²·(b² + ab + a²)/3 [Pa]; arguments as in `greatest_hoop`."""
    return np.asarray(load / 3 * (outer**2 + outer * inner + inner**2))


def pulled_hoop(pull: Number, outer: Number, inner: Number) -> Floats:
    """Return the hoop stress at the bore from a tension `pull` [Pa] on the outer face [Pa] (Lamé)."""
    bored = np.asarray(inner) > 0
    return np.where(bored, 2 * pull * outer**2 / (outer**2 - inner**2), pull)


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
    """Return the key that is missing for `rim_safety`; None where there is none.

    The yield strength of a brittle hub is enough: it is no greater than its tensile strength.
    """
    return _unknown_hub(wheel) or _lacking(wheel, either=wheel.material is not None and wheel.material.brittle)


def unknown_burst(wheel: Wheel) -> str | None:
    """Return the key that is missing for `burst_speed`; None where there is none. Either strength is enough."""
    return _unknown_hub(wheel) or _lacking(wheel, either=True)


def _unknown_hub(wheel: Wheel) -> str | None:
    """Return the key without which the hub's stress is unknown, or None."""
    if wheel.material is None:
        return "stage.wheel.material"
    return None if wheel.solid or np.any(wheel.bore) else "stage.wheel.bore"


def _lacking(wheel: Wheel, *, either: bool) -> str | None:
    """Return the key of the strength that is missing, or None; either: the tensile strength is enough too."""
    material = wheel.material
    if material is None or material.yield_strength is not None or (either and material.tensile_strength is not None):
        return None
    return "stage.wheel.tensile_strength" if either else "stage.wheel.yield_strength"


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


USUAL_STRETCH = 0.05
"""Greatest stretch of a fitted ring in sealing practice [-]."""
USUAL_FRICTION = 0.5
"""Coefficient of friction of rubber on its hub where it is not given [-]; from memory, low."""


class Failure(Enum):
    """How a tyre leaves its wheel."""

    LIFTS = "its own weight outdoes its stretch: the ring lifts off the rim"
    CREEPS_OUT = "its own weight outdoes stretch and clamp: the ring works its way out"
    BREAKS_LIP = "the ring presses the lip away"
    PEELS = "the ring peels off its bond"
    TEARS = "the ring tears"


def lift_off_speed(tyre: Tyre) -> Floats:
    """Return the speed up to which stretch alone holds the ring, √(Eε/ρ) [m/s]."""
    return np.sqrt(tyre.material.modulus * tyre.stretch / tyre.material.density)


def tearing_speed(wheel: Wheel, tyre: Tyre) -> Floats:
    """Return the speed at which the tyre tears [m/s]: a bonded one at its root, others as a free ring."""
    if tyre.material.tensile_strength is None:
        return np.asarray(np.inf)
    strength = tyre.material.tensile_strength / tyre.material.density
    lever = wheel.hub_radius / tyre.depth if tyre.held_by is Hold.BOND else 1.0
    return np.sqrt(strength * lever)


def leaving_speed(wheel: Wheel, tyre: Tyre) -> Floats:
    """Return the speed at which stretch and clamp, lip or bond no longer hold the tyre [m/s].

    Raises ValueError where a clamp is on a wheel of unknown width.
    """
    tension: Number = tyre.material.modulus * tyre.stretch + _ADDED_TENSION[tyre.held_by](wheel, tyre)
    return np.sqrt(tension / tyre.material.density)


def retention_speed(wheel: Wheel) -> Floats:
    """Return the speed above which the tyre certainly leaves or tears [m/s]; inf without a tyre."""
    tyre = wheel.tyre
    if tyre is None:
        return np.asarray(np.inf)
    return np.minimum(leaving_speed(wheel, tyre), tearing_speed(wheel, tyre))


def sure_speed(wheel: Wheel) -> Floats:
    """Return the speed up to which the tyre certainly stays on [m/s]; inf without a tyre.

    `retention_speed` where all strengths are known, else at most `lift_off_speed`: up to there clamp, lip and bond
    carry no load, and the tension of the ring is that at rest.
    """
    tyre = wheel.tyre
    if tyre is None:
        return np.asarray(np.inf)
    gone = retention_speed(wheel)
    return gone if _unknown_hold(tyre) is None else np.minimum(gone, lift_off_speed(tyre))


def unknown_retention(wheel: Wheel, wheel_speed: float) -> str | None:
    """Return the key of the strength without which retention at `wheel_speed` [m/s] is unknown; None: it is known."""
    tyre = wheel.tyre
    if tyre is None or wheel_speed <= float(sure_speed(wheel)):
        return None
    return _unknown_hold(tyre)


def unknown_turning_hold(wheel: Wheel) -> str | None:
    """Return the key that is missing for `turning_hold`; None where there is none."""
    tyre = wheel.tyre
    if tyre is None:
        return None
    if tyre.held_by is Hold.BOND and tyre.bond_strength is None:
        return "stage.wheel.tyre.bond_strength"
    if tyre.held_by is not Hold.BOND and tyre.hub_friction is None:
        return "stage.wheel.tyre.hub_friction"
    return "stage.wheel.width" if wheel.width is None else None


def _unknown_hold(tyre: Tyre) -> str | None:
    """Return the key of a strength that holds the tyre and is unknown, or None; a stretched ring needs none."""
    needs = {
        Hold.CLAMP: ("hub_friction", tyre.hub_friction),
        Hold.LIP: ("lip_strength", tyre.lip_strength),
        Hold.BOND: ("bond_strength", tyre.bond_strength),
    }
    if tyre.held_by not in needs:
        return None
    for name, value in (needs[tyre.held_by], ("tensile_strength", tyre.material.tensile_strength)):
        if value is None:
            return f"stage.wheel.tyre.{name}"
    return None


def turning_hold(wheel: Wheel, wheel_speed: Number, normal: Number = 0.0) -> Floats:
    """Return the tangential force at which the tyre turns on its hub [N].

    wheel_speed [m/s]; normal: force of the nip, which presses the tyre on its hub [N]. A bond: its strength times the
    area. Others: hub friction times the sum of the remaining press fit 2πbw·(Eε − ρu²)·t/b, the clamp on both flanks
    and the nip. inf without a tyre, or where bond strength, width or friction is unknown.
    """
    tyre = wheel.tyre
    if tyre is None or wheel.width is None:
        return np.full(np.shape(wheel_speed), np.inf)
    around = 2 * np.pi * wheel.width
    if tyre.held_by is Hold.BOND:
        strength = np.inf if tyre.bond_strength is None else tyre.bond_strength
        return np.asarray(strength * around * wheel.hub_radius + 0.0 * np.asarray(wheel_speed))
    if tyre.hub_friction is None:
        return np.full(np.shape(wheel_speed), np.inf)
    left = tyre.material.modulus * tyre.stretch - tyre.material.density * np.square(wheel_speed)
    pressed = around * tyre.depth * np.maximum(left, 0.0) + normal
    clamped = 2 * (tyre.clamp_force or 0.0) if tyre.held_by is Hold.CLAMP else 0.0
    return np.asarray(tyre.hub_friction * (pressed + clamped))


def _clamp_tension(wheel: Wheel, tyre: Tyre) -> Number:
    """Return the hoop tension that a clamp's friction on both flanks replaces, μF/(πtw) [Pa]."""
    if tyre.clamp_force is None:
        return 0.0
    if wheel.width is None:
        raise ValueError("a clamped tyre needs the wheel's width")
    friction = USUAL_FRICTION if tyre.hub_friction is None else tyre.hub_friction
    return friction * tyre.clamp_force / (np.pi * tyre.depth * wheel.width)


def _seat_tension(strength: Number | None, wheel: Wheel, tyre: Tyre) -> Number:
    """Return the hoop tension that a strength of the seat [Pa] replaces, strength·b/t [Pa]; inf where it is unknown."""
    return np.inf if strength is None else strength * wheel.hub_radius / tyre.depth


_ADDED_TENSION: dict[Hold, Callable[[Wheel, Tyre], Number]] = {
    Hold.STRETCH: lambda wheel, tyre: 0.0,
    Hold.CLAMP: _clamp_tension,
    Hold.LIP: lambda wheel, tyre: _seat_tension(tyre.lip_strength, wheel, tyre),
    Hold.BOND: lambda wheel, tyre: _seat_tension(tyre.bond_strength, wheel, tyre),
}
"""What holds the tyre besides its stretch, as a hoop tension [Pa]."""
_FAILURES = {
    Hold.STRETCH: Failure.LIFTS,
    Hold.CLAMP: Failure.CREEPS_OUT,
    Hold.LIP: Failure.BREAKS_LIP,
    Hold.BOND: Failure.PEELS,
}


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a tyre: what it is, and the speed up to which the tyre then stays on [m/s]."""

    what: str
    speed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """How a tyre leaves its wheel, and changes that would help.

    failure: the first to happen; None: unknown
    speed: at which it happens [m/s]; inf: unknown
    missing: key of an unknown strength; None: all are known
    lift_off: speed up to which stretch alone holds the ring [m/s]
    needed_stretch: stretch that alone would hold it at the speed asked for [-]
    changes: the most effective first
    """

    failure: Failure | None
    speed: float
    missing: str | None
    lift_off: float
    needed_stretch: float
    changes: tuple[Change, ...]


def explain(wheel: Wheel, wheel_speed: float) -> Retention | None:
    """Return how the tyre of `wheel` leaves it, and what helps at `wheel_speed` [m/s]; None without a tyre."""
    tyre = wheel.tyre
    if tyre is None:
        return None
    leaves, tears = float(leaving_speed(wheel, tyre)), float(tearing_speed(wheel, tyre))
    density, modulus = float(tyre.material.density), float(tyre.material.modulus)
    changes = [
        Change(what, speed)
        for what, changed in _alternatives(wheel, tyre)
        if (speed := float(sure_speed(replace(wheel, tyre=changed)))) > float(sure_speed(wheel))
    ]
    lacking = _unknown_hold(tyre)
    return Retention(
        failure=None if lacking else Failure.TEARS if tears < leaves else _FAILURES[tyre.held_by],
        speed=np.inf if lacking else min(leaves, tears),
        missing=lacking,
        lift_off=float(lift_off_speed(tyre)),
        needed_stretch=density * wheel_speed**2 / modulus,
        changes=tuple(sorted(changes, key=lambda change: -change.speed)),
    )


def _alternatives(wheel: Wheel, tyre: Tyre) -> list[tuple[str, Tyre]]:
    """Return single changes of a tyre. A lip is made as strong as the ring needs until it tears."""
    strength = tyre.material.tensile_strength
    stretch = max(USUAL_STRETCH, 1.5 * float(tyre.stretch))
    stiff = replace(tyre.material, modulus=2 * tyre.material.modulus)
    found = [(f"stretch it by {stretch:.0%}", replace(tyre, stretch=stretch))]
    found.append(("a rubber twice as stiff", replace(tyre, material=stiff)))
    if strength is None:
        return found
    if tyre.held_by in (Hold.STRETCH, Hold.CLAMP):
        borne = float((strength - tyre.material.modulus * tyre.stretch) * tyre.depth / wheel.hub_radius)
        lipped = replace(tyre, held_by=Hold.LIP, lip_strength=borne)
        found.append((f"a lip on both sides of the seat that bears {borne / 1e6:.2g} MPa", lipped))
    if tyre.held_by is not Hold.BOND:
        tread = replace(tyre, held_by=Hold.BOND, bond_strength=strength / 4)
        found.append(("a bonded or moulded tread, bond at a quarter of the rubber's strength", tread))
    return found

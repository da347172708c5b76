"""How a tyre stays on its hub, and the force that turns it there.

A ring stretched by ε presses on its hub with its tension Eε. Rotation reduces that by ρu²; at u = √(Eε/ρ) nothing is
left, whatever the radius. A clamp adds friction against outward motion; a lip or a bond carries the remaining stress
(ρu² − Eε)·t/b on the seat (t the tyre's depth, b the hub's radius), until the tyre itself tears.

Speeds are surface speeds [m/s], shapes broadcast. Where a strength is unknown, the tyre stays on up to `sure_speed`,
leaves above `retention_speed`, and between them the outcome is unknown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Hold, Tyre, Wheel

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

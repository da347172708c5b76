"""What keeps a tyre on its hub, and what keeps it from turning there.

A ring stretched by ε presses on its hub with its tension Eε; spinning takes ρu² of that away, and at u = √(Eε/ρ)
nothing is left, whatever the radius. A clamp adds friction against the way outward; a lip or a bond takes the rest of
the pull, (ρu² − Eε)·t/b on each area of the seat (t the tyre's depth, b the hub's radius). Held so, the tyre itself
is what tears. Speeds are surface speeds [m/s], shapes broadcast. Where a strength is not known there are two of them:
up to `sure_speed` the tyre stays on whatever it is, above `retention_speed` it does not; in between nobody can tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.wheel import Hold, Tyre, Wheel

USUAL_STRETCH = 0.05
"""Most that sealing practice stretches a fitted ring [-]."""
USUAL_FRICTION = 0.5
"""Friction of rubber on its hub where it is not given [-]; from memory, cautious."""


class Failure(Enum):
    """How a tyre leaves its wheel."""

    LIFTS = "its own weight outdoes its stretch: the ring lifts off the rim"
    CREEPS_OUT = "its own weight outdoes stretch and clamp: the ring works its way out"
    BREAKS_LIP = "the ring presses the lip away"
    PEELS = "the ring peels off its bond"
    TEARS = "the ring tears"


def lift_off_speed(tyre: Tyre) -> Floats:
    """Return √(Eε/ρ) [m/s]: above it stretch alone does not hold the ring, whatever the radius."""
    return np.sqrt(tyre.material.modulus * tyre.stretch / tyre.material.density)


def tearing_speed(wheel: Wheel, tyre: Tyre) -> Floats:
    """Speed at which the tyre's material gives way [m/s]: a bonded one in the pull at its root, else as a free ring."""
    if tyre.material.tensile_strength is None:
        return np.asarray(np.inf)
    strength = tyre.material.tensile_strength / tyre.material.density
    lever = wheel.hub_radius / tyre.depth if tyre.held_by is Hold.BOND else 1.0
    return np.sqrt(strength * lever)


def leaving_speed(wheel: Wheel, tyre: Tyre) -> Floats:
    """Return the speed at which the tyre leaves its seat [m/s], by what holds it.

    Raises ValueError where a clamp is on a wheel of unknown width.
    """
    tension: Number = tyre.material.modulus * tyre.stretch + _HELP[tyre.held_by](wheel, tyre)
    return np.sqrt(tension / tyre.material.density)


def retention_speed(wheel: Wheel) -> Floats:
    """Return the speed above which the tyre does not stay on, by all that is known [m/s]; inf without a tyre."""
    tyre = wheel.tyre
    if tyre is None:
        return np.asarray(np.inf)
    return np.minimum(leaving_speed(wheel, tyre), tearing_speed(wheel, tyre))


def sure_speed(wheel: Wheel) -> Floats:
    """Return the speed up to which the tyre stays on for certain [m/s]; inf without a tyre.

    Where all is known that is `retention_speed`. Else it is where stretch alone ends: up to there nothing bears on
    clamp, lip or bond, and the ring is in no more tension than at rest.
    """
    tyre = wheel.tyre
    if tyre is None:
        return np.asarray(np.inf)
    gone = retention_speed(wheel)
    return gone if _unknown_hold(tyre) is None else np.minimum(gone, lift_off_speed(tyre))


def unknown_retention(wheel: Wheel, wheel_speed: float) -> str | None:
    """Return the key without which it is not known that the tyre stays on at `wheel_speed` [m/s]; None: it is known."""
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
    """Return the key of the strength that the tyre hangs on, where it is not known; a stretched ring hangs on none."""
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
    """Tangential force that the tyre passes to its hub without turning on it [N].

    wheel_speed [m/s]; normal: force of the nip [N], which presses the tyre on its hub too. Friction of the hub times
    what is left of the stretch, 2πbw·(Eε − ρu²)·t/b, the clamp on both flanks and the nip; a bond holds by its area.
    inf without a tyre, where bond, width or friction are not known.
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


def _clamped(wheel: Wheel, tyre: Tyre) -> Number:
    """Return μF/(πtw) [Pa]: friction on both flanks, spread over the ring's section."""
    if tyre.clamp_force is None:
        return 0.0
    if wheel.width is None:
        raise ValueError("a clamped tyre needs the wheel's width")
    friction = USUAL_FRICTION if tyre.hub_friction is None else tyre.hub_friction
    return friction * tyre.clamp_force / (np.pi * tyre.depth * wheel.width)


def _borne(strength: Number | None, wheel: Wheel, tyre: Tyre) -> Number:
    return np.inf if strength is None else strength * wheel.hub_radius / tyre.depth


def _alone(wheel: Wheel, tyre: Tyre) -> Number:
    return 0.0


def _lipped(wheel: Wheel, tyre: Tyre) -> Number:
    return _borne(tyre.lip_strength, wheel, tyre)


def _bonded(wheel: Wheel, tyre: Tyre) -> Number:
    return _borne(tyre.bond_strength, wheel, tyre)


_HELP = {Hold.STRETCH: _alone, Hold.CLAMP: _clamped, Hold.LIP: _lipped, Hold.BOND: _bonded}
_FAILS = {
    Hold.STRETCH: Failure.LIFTS,
    Hold.CLAMP: Failure.CREEPS_OUT,
    Hold.LIP: Failure.BREAKS_LIP,
    Hold.BOND: Failure.PEELS,
}


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a tyre: what it is, and up to which speed the tyre then stays on [m/s]."""

    what: str
    speed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """Why a tyre leaves its wheel, and what would help.

    failure: what happens first (None: not known); speed: where [m/s] (inf: not known); missing: the key that is not
    known (None: all is); lift_off: where stretch alone ends [m/s]; needed_stretch [-]: with which stretch alone would
    hold at the speed asked for; changes: the most helpful first.
    """

    failure: Failure | None
    speed: float
    missing: str | None
    lift_off: float
    needed_stretch: float
    changes: tuple[Change, ...]


def explain(wheel: Wheel, wheel_speed: float) -> Retention | None:
    """Why the tyre of `wheel` (floats) leaves it and what helps most at `wheel_speed` [m/s]; None without a tyre."""
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
        failure=None if lacking else Failure.TEARS if tears < leaves else _FAILS[tyre.held_by],
        speed=np.inf if lacking else min(leaves, tears),
        missing=lacking,
        lift_off=float(lift_off_speed(tyre)),
        needed_stretch=density * wheel_speed**2 / modulus,
        changes=tuple(sorted(changes, key=lambda change: -change.speed)),
    )


def _alternatives(wheel: Wheel, tyre: Tyre) -> list[tuple[str, Tyre]]:
    """Changes a maker can make, one at a time. A lip is asked to bear what the ring does until it tears."""
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

"""Steps through one smooth piece of the way: error control, jams, extremes."""

from __future__ import annotations

from typing import Any

from stager.physics.compiled import compiled
from stager.physics.contact.columns import (
    FORCE,
    FRESH,
    HALF_WIDTH,
    HEAT,
    HIGH_SLIP,
    LAST_SLIP,
    LOW_SLIP,
    PEAK_FORCE,
    PEAK_POWER,
    RATE,
    SLIP,
    SPEED,
    START,
    START_FORCE,
    START_RATE,
    START_SLIP,
    STEP_HEAT,
    STEP_POWER,
    STEP_WORK,
    TIME,
    WHEEL,
    WORK,
)  # fmt: skip
from stager.physics.contact.equations import evaluate
from stager.physics.contact.step import begin, step, way

Floats = Any
FIRST_STEP, LEAST_STEP = 0.1, 1e-4
"""Of the parameter 0 … 1 along a piece."""
STANDSTILL = 1e-5
"""Share of the greater of projectile's and wheels' speed below which the projectile has stopped [-]."""
STILL = 1e-9
"""What a speed is judged by where nothing moves [m/s]."""
ARRIVED = 1.0 - 1e-12
PATIENCE = 100_000
"""Most steps through one piece."""
SAFETY, LEAST_GROWTH, MOST_GROWTH, AFTER_REFUSAL = 0.9, 0.2, 5.0, 0.8
"""Of a step's size from one to the next."""
THROUGH, STOPPED, LOST = 0, 1, 2
"""How a piece ends; LOST: not within PATIENCE."""


@compiled
def march(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, kinds: Any,
    laws: Floats, even: bool, books: bool, piece: Floats, speed: float, spin: float, start: Floats, parts: Floats,
    tolerance: float, steps: int,
) -> tuple[float, float, float, int]:  # fmt: skip
    """Take the projectile from `speed` [m/s] and `spin` [rad/s] through `piece`; arguments as `step` has them.

    Parameters
    ----------
    tolerance : float
        Local error of a step by speed squared and by speeds [-].
    steps : int
        Number of equal steps instead of error control; 0: error control.

    Returns
    -------
    speed, spin, place : float
        At its end or where the projectile stopped, `place` in the coordinates of `piece` [m].
    ending : int
        THROUGH, STOPPED or LOST.
    """
    top = STILL
    for i in acting:
        top = max(top, sides[i, START])
    place, size, refused, fresh = 0.0, FIRST_STEP, False, True
    if steps:
        size = 1.0 / steps
    for _ in range(PATIENCE):
        size = min(size, 1.0 - place)
        if fresh:
            at, _, _ = way(piece, place)
            for i in acting:
                sides[i, WHEEL] = sides[i, SPEED]
            start[0], start[1], start[2], start[3] = evaluate(
                active, count, pieces, nips, sides, body, kinds, laws, even, at, speed, spin, True, False
            )
            look(active, count, nips, sides, even, abs(start[0]))
            begin(acting, sides)
        else:
            for i in acting:
                restore(sides[i])
        after, after_spin, speed_error, spin_error, wheel_error, thrust, time = step(
            acting, active, count, pieces, nips, sides, body, kinds, laws, even, books, piece, place, size, speed,
            spin, start, parts,
        )  # fmt: skip
        fresh = False
        scale = max(speed, top)
        if not after > scale * STANDSTILL:
            if steps or size <= LEAST_STEP:
                return speed, spin, way(piece, place)[0], STOPPED
            size *= 0.25
            refused = True
            continue
        ratio = 2.0 * speed * speed_error / (speed * speed + 0.01 * scale * scale)
        ratio = max(ratio, wheel_error / scale, body[HALF_WIDTH] * spin_error / scale) / tolerance
        growth = LEAST_GROWTH
        if ratio < 1e-12:
            growth = MOST_GROWTH
        elif ratio == ratio:
            growth = min(max(SAFETY * ratio**-0.25, LEAST_GROWTH), MOST_GROWTH)
        if not steps and not ratio <= 1.0:
            size *= min(growth, AFTER_REFUSAL)
            refused = True
            continue
        speed, spin, place, fresh = after, after_spin, place + size, True
        for n in range(count):
            nip = nips[active[n]]
            nip[TIME] += time
            nip[PEAK_FORCE] = max(nip[PEAK_FORCE], thrust)
            nip[PEAK_POWER] = max(nip[PEAK_POWER], nip[STEP_POWER])
        for i in acting:
            side = sides[i]
            side[SPEED] = side[FRESH]
            if books:
                side[WORK] += side[STEP_WORK]
                side[HEAT] += side[STEP_HEAT]
        if place >= ARRIVED:
            at, _, _ = way(piece, 1.0)
            for i in acting:
                sides[i, WHEEL] = sides[i, SPEED]
            thrust, _, _, _ = evaluate(
                active, count, pieces, nips, sides, body, kinds, laws, even, at, speed, spin, False, False
            )
            look(active, count, nips, sides, even, abs(thrust))
            return speed, spin, at, THROUGH
        if not steps:
            size *= min(growth, 1.0) if refused else growth
        refused = False
    return speed, spin, way(piece, place)[0], LOST


@compiled
def restore(side: Floats) -> None:
    """Put a side back to the start of a step that was refused."""
    side[WHEEL], side[SLIP], side[FORCE], side[RATE] = (
        side[SPEED], side[START_SLIP], side[START_FORCE], side[START_RATE],
    )  # fmt: skip


@compiled
def look(active: Any, count: int, nips: Floats, sides: Floats, even: bool, thrust: float) -> None:
    """Take in what `evaluate` has found at one place: greatest force [N], slip power [W] and slips of side A."""
    for n in range(count):
        k = active[n]
        nip, slip = nips[k], sides[2 * k, SLIP]
        power = sides[2 * k, FORCE] * slip
        power += power if even else sides[2 * k + 1, FORCE] * sides[2 * k + 1, SLIP]
        nip[PEAK_FORCE], nip[PEAK_POWER] = max(nip[PEAK_FORCE], thrust), max(nip[PEAK_POWER], power)
        nip[LOW_SLIP], nip[HIGH_SLIP] = min(nip[LOW_SLIP], slip), max(nip[HIGH_SLIP], slip)
        nip[LAST_SLIP] = slip

"""Steps through one smooth piece of the way: error control, jams, extremes."""

from __future__ import annotations

from typing import Any

from stager.physics.compiled import compiled, inlined
from stager.physics.contact.columns import (
    ACCELERATION, BOOKS, DURATION, FORCE, FRESH, HALF_WIDTH, HEAT, HIGH_SLIP, LOW_SLIP, RATE, SLIP, SLIP_OUT,
    SLIP_POWER, SPEED, START, START_FORCE, START_RATE, START_SLIP, STEPS, STEP_HEAT, STEP_POWER, STEP_WORK, TOLERANCE,
    WHEEL, WORK,
)  # fmt: skip
from stager.physics.contact.equations import evaluate
from stager.physics.contact.step import begin, step, way

Floats = Any
FIRST_STEP, LEAST_STEP = 0.1, 1e-6
"""Of the parameter 0 … 1 along a piece."""
STANDSTILL = 1e-5
"""Share of the greater of projectile's and wheels' speed below which the projectile has stopped [-]."""
STILL = 1e-9
"""What a speed is judged by where nothing moves [m/s]."""
SLOW = 1e-4
"""Share of its square below which that greater speed is what the error of a slow projectile is judged by [-]."""
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
    wheel_law: Floats, rail_law: Floats, even: bool, how: Floats, piece: Floats, speed: float, spin: float,
    start: Floats, parts: Floats,
) -> tuple[float, float, float, int]:  # fmt: skip
    """Take the projectile from `speed` [m/s] and `spin` [rad/s] through `piece`; arguments as `step` has them.

    Parameters
    ----------
    how : array, shape (3,)
        TOLERANCE: local error of a step by speed squared and by speeds [-]; STEPS: number of equal steps instead of
        error control, 0: error control; BOOKS: whether energies are summed.

    Returns
    -------
    speed, spin, place : float
        At its end or where the projectile stopped, `place` in the coordinates of `piece` [m].
    ending : int
        THROUGH, STOPPED or LOST.
    """
    top, tolerance, steps, books = STILL, how[TOLERANCE], how[STEPS], how[BOOKS] > 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        top = max(top, sides[i, START])
    place, size, refused, fresh = 0.0, FIRST_STEP, False, True
    yes = tolerance > 0.0  # Not a literal, for each of which the compiler would make its own `evaluate`.
    if steps > 0.0:
        size = 1.0 / steps
    for _ in range(PATIENCE):
        size = min(size, 1.0 - place)
        if fresh:
            at, _, _ = way(piece, place)
            for j in range(acting.shape[0]):
                i = acting[j]
                sides[i, WHEEL] = sides[i, SPEED]
            start[0], start[1], start[2], start[3] = evaluate(
                active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, at, speed, spin, yes,
                not yes,
            )  # fmt: skip
            look(active, count, nips, sides, even, abs(start[0]))
            begin(acting, sides)
        else:
            for j in range(acting.shape[0]):
                i = acting[j]
                restore(sides, i)
        after, after_spin, speed_error, spin_error, wheel_error, thrust, time = step(
            acting, active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, books, piece, place,
            size, speed, spin, start, parts,
        )  # fmt: skip
        fresh = False
        scale = max(speed, top)
        if not after > scale * STANDSTILL:
            if steps > 0.0 or size <= LEAST_STEP:
                return speed, spin, way(piece, place)[0], STOPPED
            size *= 0.25
            refused = True
            continue
        ratio = 2.0 * speed * speed_error / (speed * speed + SLOW * scale * scale)
        ratio = max(ratio, wheel_error / scale, body[HALF_WIDTH] * spin_error / scale) / tolerance
        growth = LEAST_GROWTH
        if ratio < 1e-12:
            growth = MOST_GROWTH
        elif ratio == ratio:
            growth = min(max(SAFETY * ratio**-0.25, LEAST_GROWTH), MOST_GROWTH)
        if steps == 0.0 and not ratio <= 1.0:
            size *= min(growth, AFTER_REFUSAL)
            refused = True
            continue
        speed, spin, place, fresh = after, after_spin, place + size, True
        for n in range(count):
            k = active[n]
            nips[k, DURATION] += time
            nips[k, ACCELERATION] = max(nips[k, ACCELERATION], thrust)
            nips[k, SLIP_POWER] = max(nips[k, SLIP_POWER], nips[k, STEP_POWER])
        for j in range(acting.shape[0]):
            i = acting[j]
            sides[i, SPEED] = sides[i, FRESH]
            if books:
                sides[i, WORK] += sides[i, STEP_WORK]
                sides[i, HEAT] += sides[i, STEP_HEAT]
        if place >= ARRIVED:
            at, _, _ = way(piece, 1.0)
            for j in range(acting.shape[0]):
                i = acting[j]
                sides[i, WHEEL] = sides[i, SPEED]
            thrust, _, _, _ = evaluate(
                active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, at, speed, spin, not yes,
                not yes,
            )  # fmt: skip
            look(active, count, nips, sides, even, abs(thrust))
            return speed, spin, at, THROUGH
        if steps == 0.0:
            size *= min(growth, 1.0) if refused else growth
        refused = False
    return speed, spin, way(piece, place)[0], LOST


@inlined
def restore(sides: Floats, i: int) -> None:
    """Put a side back to the start of a step that was refused."""
    sides[i, WHEEL], sides[i, SLIP], sides[i, FORCE], sides[i, RATE] = (
        sides[i, SPEED], sides[i, START_SLIP], sides[i, START_FORCE], sides[i, START_RATE],
    )  # fmt: skip


@inlined
def look(active: Any, count: int, nips: Floats, sides: Floats, even: bool, thrust: float) -> None:
    """Take in what `evaluate` has found at one place: greatest force [N], slip power [W] and slips of side A."""
    for n in range(count):
        k = active[n]
        slip = sides[2 * k, SLIP]
        power = sides[2 * k, FORCE] * slip
        power += power if even else sides[2 * k + 1, FORCE] * sides[2 * k + 1, SLIP]
        nips[k, ACCELERATION], nips[k, SLIP_POWER] = max(nips[k, ACCELERATION], thrust), max(nips[k, SLIP_POWER], power)
        nips[k, LOW_SLIP], nips[k, HIGH_SLIP] = min(nips[k, LOW_SLIP], slip), max(nips[k, HIGH_SLIP], slip)
        nips[k, SLIP_OUT] = slip

"""A throw from stage to stage: where contacts begin and end, free runs between, what each stage leaves.

All stages' marks along the barrel (contact begins, axis plane, contact ends; of a rod also its rear end's) are sorted;
between two marks the same nips touch and everything is smooth. So any number of stages may hold the projectile at once.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import Any

import numpy as np

from stager.physics.compiled import compiled, entry
from stager.physics.contact.columns import (
    AIR_CORE,
    AIR_DRAG,
    AIR_LAMINAR,
    AIR_TRANSITION,
    AIR_TURBULENT,
    AXIS,
    BEGUN,
    BRAKE,
    CREEP,
    CURRENT_LIMIT,
    DEPTH,
    ENTRY_SPEED,
    ENTRY_SPIN,
    EXPONENT,
    GAIN,
    GROWTH,
    HALF_WIDTH,
    HEAT,
    HEIGHT,
    HELD,
    HIGH_SLIP,
    IDLE_CURRENT,
    IDLER,
    IDLER_INVERSE,
    INVERSE_INERTIA,
    LAST_SLIP,
    LAYOUT,
    LENGTH,
    LOW_SLIP,
    MASS,
    MOTOR_SLOPE,
    NIP,
    NIP_EXPONENT,
    NIP_LAYOUT,
    NIP_REBOUND,
    NIP_STIFFNESS,
    NORMALS,
    PAIR,
    PEAK_FORCE,
    PEAK_POWER,
    PITCH,
    PULL,
    RADIUS,
    RAIL,
    RAMP,
    REACH,
    REBOUND,
    REST_DEPTH,
    ROD_LENGTH,
    ROLLING,
    SIDE,
    SLOWING,
    SPEED,
    START,
    STIFFNESS,
    TIME,
    TORQUE_HIGH,
    TORQUE_LOW,
    TORQUE_SLOPE,
    TURN,
    WHEEL_RADIUS,
    WORK,
)  # fmt: skip
from stager.physics.contact.march import LOST, STOPPED, march
from stager.physics.contact.profile import crush_loss, stored
from stager.physics.guide import free_flight

Floats = Any
SYNC_CREEPS = 3.0
SYNC, SLIPS, JAM, NOT_REACHED = 0, 1, 2, 3
"""As `stager.physics.records.Grip`."""
(
    SPEED_A, SPEED_B, ENTRY, EXIT, SPIN_IN, SPIN_OUT, AFTER_A, AFTER_B, SLIP_OUT, LEAST_SLIP, GRIP, DURATION, WORK_A,
    WORK_B, HEAT_A, HEAT_B, CRUSH_LOSS, MOTOR_WORK, ACCELERATION, SLIP_POWER,
) = range(20)  # fmt: skip
"""Columns of a stage's record, in the order of `stager.physics.records.Transit`."""
RECORD = 20


@compiled
def windage(stage: Floats, turning: float) -> float:
    """Return the moment of the air on a wheel at `turning` [rad/s] [N m]; see `stager.physics.windage.Disc`."""
    if turning <= 0.0:
        return 0.0
    if turning > stage[AIR_TRANSITION]:
        return stage[AIR_TURBULENT] * turning**1.8 - stage[AIR_CORE] / sqrt(turning)
    return stage[AIR_LAMINAR] * turning * sqrt(turning)


@compiled
def set_nip(nips: Floats, k: int, stage: Floats, body: Floats, axis: float, speed_a: float, speed_b: float) -> None:
    """Set up one stage's nip at the set speeds [m/s] of its sides.

    Growth adds to the wheel's radius and to the crush alike; with two wheels each side has the mean of both, an idler
    is at rest.
    """
    nip = nips[k]
    nip[:] = 0.0
    layout = stage[LAYOUT]
    grown = stage[GROWTH] * speed_a * speed_a
    if layout == PAIR:
        grown = 0.5 * (grown + stage[GROWTH] * speed_b * speed_b)
    elif layout == IDLER:
        grown *= 0.5
    nip[AXIS], nip[NIP_LAYOUT], nip[LENGTH] = axis, layout, body[ROD_LENGTH]
    nip[NIP_STIFFNESS], nip[NIP_EXPONENT], nip[NIP_REBOUND] = body[STIFFNESS], body[EXPONENT], body[REBOUND]
    nip[NORMALS] = 1.0 if layout == RAIL else 2.0
    if body[ROD_LENGTH] < 0.0:
        rest = stage[WHEEL_RADIUS] + body[HALF_WIDTH]
        nip[REACH], nip[HEIGHT] = rest + grown, rest - stage[REST_DEPTH]
        nip[RAMP] = sqrt(max(nip[REACH] * nip[REACH] - nip[HEIGHT] * nip[HEIGHT], 0.0))
    else:
        nip[DEPTH] = max(stage[REST_DEPTH] + grown, 0.0)
        nip[RAMP] = sqrt(2.0 * (stage[WHEEL_RADIUS] + grown) * nip[DEPTH])
        if nip[RAMP] > 0.0:
            nip[ROLLING] = (1.0 - body[REBOUND]) * stored(nips, k, nip[DEPTH]) / (nip[NORMALS] * nip[RAMP])
    nip[LOW_SLIP], nip[HIGH_SLIP] = inf, -inf


@compiled
def set_sides(sides: Floats, k: int, stage: Floats, a: float, b: float, held_a: float, held_b: float) -> None:
    """Set up both sides of stage `k` at set speeds a, b and held speeds [m/s].

    The throttle would hold the held speed against no-load current and windage; as the wheel slows the current rises
    along the motor's line, from 0 up to the controller's limit. A governor is too slow to act in a contact.
    """
    sides[2 * k : 2 * k + 2, :] = 0.0
    for j in range(2):
        side = sides[2 * k + j]
        side[TURN] = 1.0 - 2.0 * j
        radius, inverse = stage[WHEEL_RADIUS], stage[INVERSE_INERTIA]
        speed, held = a, held_a
        driven = stage[MOTOR_SLOPE] > 0.0
        if j == 1:
            speed, held = b, held_b
            if stage[LAYOUT] != PAIR:
                speed = held = 0.0
                driven = False
                inverse = stage[IDLER_INVERSE] if stage[LAYOUT] == IDLER else 0.0
        side[RADIUS], side[GAIN], side[BRAKE] = radius, radius * inverse, -radius * radius * inverse
        side[START], side[SPEED], side[HELD] = speed, speed, held
        if driven:
            pull = stage[PULL]
            holding = stage[IDLE_CURRENT] + windage(stage, held / radius) / pull
            side[TORQUE_SLOPE], side[TORQUE_LOW] = stage[MOTOR_SLOPE], -pull * holding
            side[TORQUE_HIGH] = pull * max(stage[CURRENT_LIMIT] - holding, 0.0)


@compiled
def set_marks(nips: Floats, count: int, at: Floats, owner: Any, number: Any) -> int:
    """Write the places of all marks along the barrel in their order, the stage of each and its number there."""
    marks = 0
    for k in range(count):
        nip = nips[k]
        for j in range(3 if nip[LENGTH] < 0.0 else 4):
            place = nip[AXIS]
            if j == 0:
                place -= nip[RAMP]
            elif nip[LENGTH] < 0.0:
                if j == 2:
                    place += nip[RAMP]
            elif j >= 2:
                place += nip[LENGTH]
                if j == 3:
                    place += nip[RAMP]
            n = marks
            while n > 0 and at[n - 1] > place:
                at[n], owner[n], number[n] = at[n - 1], owner[n - 1], number[n - 1]
                n -= 1
            at[n], owner[n], number[n] = place, k, j
            marks += 1
    return marks


@compiled
def record(out: Floats, k: int, nips: Floats, sides: Floats, body: Floats, speed: float, spin: float, offset: float,
           jams: bool) -> None:  # fmt: skip
    """Write what stage `k` leaves, with the projectile at `speed` [m/s], `offset` [m] past the axis plane."""
    nip, a, b = nips[k], sides[2 * k], sides[2 * k + 1]
    least = max(nip[LOW_SLIP], -nip[HIGH_SLIP], 0.0)
    grip = JAM
    if not jams:
        grip = SYNC if least <= SYNC_CREEPS * body[CREEP] else SLIPS
    out[ENTRY, k], out[EXIT, k] = nip[ENTRY_SPEED], speed
    out[SPIN_IN, k], out[SPIN_OUT, k] = nip[ENTRY_SPIN], spin
    out[AFTER_A, k], out[AFTER_B, k] = a[SPEED], b[SPEED]
    out[SLIP_OUT, k], out[LEAST_SLIP, k], out[GRIP, k] = nip[LAST_SLIP], least, grip
    out[DURATION, k], out[CRUSH_LOSS, k] = nip[TIME], crush_loss(nips, k, offset)
    out[WORK_A, k], out[WORK_B, k], out[HEAT_A, k], out[HEAT_B, k] = a[WORK], b[WORK], a[HEAT], b[HEAT]
    out[ACCELERATION, k], out[SLIP_POWER, k] = nip[PEAK_FORCE] / body[MASS], nip[PEAK_POWER]
    if nip[TIME] > 0.0:
        out[MOTOR_WORK, k] = motor_work(a) + motor_work(b)


@compiled
def motor_work(side: Floats) -> float:
    """Return what a wheel gave and what it gained [J]; 0 for a wheel without a motor."""
    if side[TORQUE_SLOPE] == 0.0 or side[GAIN] == 0.0:
        return 0.0
    inertia = side[RADIUS] / side[GAIN]
    gained = (side[SPEED] * side[SPEED] - side[START] * side[START]) / (2.0 * side[RADIUS] * side[RADIUS])
    return side[WORK] + inertia * gained


@compiled
def alike(sides: Floats, nips: Floats, k: int) -> bool:
    """Return whether both sides of stage `k` are the same and have gone the same way so far."""
    a, b = sides[2 * k], sides[2 * k + 1]
    return nips[k, NIP_LAYOUT] == PAIR and a[SPEED] == b[SPEED] and a[HELD] == b[HELD] and a[START] == b[START]


@compiled
def throw_one(
    body: Floats, stages: Floats, kinds: Any, laws: Floats, speed_a: Floats, speed_b: Floats, held_a: Floats,
    held_b: Floats, speed: float, spin: float, count: int, tolerance: float, steps: int, books: bool, nips: Floats,
    sides: Floats, places: Floats, marks: Any, out: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Take one projectile through `count` stages.

    Parameters
    ----------
    body, stages, kinds, laws : packed launcher; see `packing`
    speed_a, speed_b, held_a, held_b : array, shape (stages,)
        Set and held surface speeds [m/s].
    speed, spin : float
        At the entry [m/s], [rad/s].
    nips, sides, places, marks : room to work in
    out : array, shape (RECORD, stages)
        Records of the stages, written to.

    Returns
    -------
    speed, spin : float
        At the exit, 0 after a jam.
    grip : int
        SLIPS where it got through, else JAM; NOT_REACHED where the integration gave up.
    """
    axis, planned = 0.0, speed_a.shape[0]
    for k in range(planned):
        stage = stages[k]
        out[:, k] = 0.0
        out[SPEED_A, k] = speed_a[k]
        out[SPEED_B, k] = speed_b[k] if stage[LAYOUT] == PAIR else 0.0
        out[GRIP, k] = NOT_REACHED
        set_nip(nips, k, stage, body, axis, speed_a[k], speed_b[k])
        set_sides(sides, k, stage, speed_a[k], speed_b[k], held_a[k], held_b[k])
        axis += stage[PITCH]
    at, piece, start, parts = places[0], places[1], places[2], places[3:5]
    owner, number, active, pieces, acting = marks[0], marks[1], marks[2], marks[3], marks[4]
    wheel_law, rail_law = laws[0], laws[1]
    total = set_marks(nips, count, at, owner, number)
    touching, opening = 0, False
    for mark in range(total):
        k = owner[mark]
        if number[mark] == 0:
            nips[k, ENTRY_SPEED], nips[k, ENTRY_SPIN] = speed, spin
            active[touching], pieces[k] = k, 0
            touching += 1
            opening = True
            if not speed > 0.0:
                out[GRIP, k] = JAM
                return 0.0, 0.0, JAM
        elif number[mark] == (2 if nips[k, LENGTH] < 0.0 else 3):
            offset = at[mark] - nips[k, AXIS]
            record(out, k, nips, sides, body, speed, spin, offset, touching < 0)
            n = 0
            while active[n] != k:
                n += 1
            touching -= 1
            for j in range(n, touching):
                active[j] = active[j + 1]
        else:
            pieces[k] = number[mark]
        if mark + 1 == total:
            break
        span = at[mark + 1] - at[mark]
        if not span > 0.0:
            continue
        if touching == 0:
            speed = free_flight(speed, span, body[SLOWING], body[AIR_DRAG])
            continue
        even, n = spin == 0.0, 0
        for j in range(touching):
            even = even and alike(sides, nips, active[j])
        for j in range(touching):
            nips[active[j], BEGUN] = 1.0
            acting[n] = 2 * active[j]
            n += 1
            if not even:
                acting[n] = 2 * active[j] + 1
                n += 1
        origin = nips[active[0], AXIS]
        for j in range(1, touching):
            nips[active[j], AXIS] -= origin
        nips[active[0], AXIS] = 0.0
        bend(piece, at[mark] - origin, span, opening, closes(at, number, nips, owner, mark + 1, total))
        speed, spin, place, ending = march(
            acting[:n], active, touching, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, books, piece, speed, spin,
            start, parts, tolerance, steps,
        )  # fmt: skip
        nips[active[0], AXIS] = origin
        for j in range(1, touching):
            nips[active[j], AXIS] += origin
        if even:
            for j in range(touching):
                a, b = sides[2 * active[j]], sides[2 * active[j] + 1]
                b[SPEED], b[WORK], b[HEAT] = a[SPEED], a[WORK], a[HEAT]
        opening = False
        if ending == LOST:
            return 0.0, 0.0, NOT_REACHED
        if ending == STOPPED:
            for j in range(touching):
                k = active[j]
                jams = j == touching - 1
                record(out, k, nips, sides, body, 0.0, spin, place + origin - nips[k, AXIS], jams)
            return 0.0, 0.0, JAM
    return speed, spin, SLIPS


@compiled
def closes(at: Floats, number: Any, nips: Floats, owner: Any, mark: int, total: int) -> bool:
    """Return whether a contact ends at the place of `mark`."""
    last = mark
    while last < total and at[last] == at[mark]:
        if number[last] == (2 if nips[owner[last], LENGTH] < 0.0 else 3):
            return True
        last += 1
    return False


@compiled
def bend(piece: Floats, low: float, span: float, opening: bool, closing: bool) -> None:
    """Write the coefficients of x = low + a τ + b τ² + c τ³ over 0 … 1.

    dx/dτ is 0 where a contact begins or ends: there powers of the crush are smooth in τ, not in x.
    """
    a, b, c = 1.0, 0.0, 0.0
    if opening and closing:
        a, b, c = 0.0, 3.0, -2.0
    elif opening:
        a, b, c = 0.0, 1.0, 0.0
    elif closing:
        a, b, c = 2.0, -1.0, 0.0
    piece[0], piece[1], piece[2], piece[3] = low, a * span, b * span, c * span


@entry
def throw_lanes(
    low: int, high: int, body: Floats, stages: Floats, kinds: Any, laws: Floats, speed_a: Floats, speed_b: Floats,
    held_a: Floats, held_b: Floats, entry: Floats, spin: Floats, ends: Any, tolerance: float, steps: int, books: bool,
    out: Floats, exits: Floats,
) -> None:  # fmt: skip
    """Throw the samples from `low` up to `high`; the first axis of all arrays is over the samples, or of length 1.

    Parameters
    ----------
    body : array, shape (samples or 1, BODY)
    stages : array, shape (samples or 1, stages, STAGE)
    kinds : array of int, shape (2,)
        Number of the friction law of the wheels and of the rail.
    laws : array, shape (samples or 1, 2, values)
    speed_a, speed_b, held_a, held_b : array, shape (samples, stages)
    entry, spin, ends : array, shape (samples or 1,)
        Entry speed [m/s], spin [rad/s] and number of stages.
    out : array, shape (samples, RECORD, stages)
        Written to.
    exits : array, shape (samples, 3)
        Written to: exit speed [m/s], spin [rad/s], grip.
    """
    count = speed_a.shape[1]
    nips, sides = np.zeros((count, NIP)), np.zeros((2 * count, SIDE))
    places = np.zeros((5, max(4 * count, 6)))
    marks = np.zeros((5, max(4 * count, 2)), np.int64)
    for i in range(low, high):
        exits[i, 0], exits[i, 1], exits[i, 2] = throw_one(
            body[min(i, body.shape[0] - 1)], stages[min(i, stages.shape[0] - 1)], kinds,
            laws[min(i, laws.shape[0] - 1)], speed_a[i], speed_b[i], held_a[i], held_b[i],
            entry[min(i, entry.shape[0] - 1)], spin[min(i, spin.shape[0] - 1)],
            min(ends[min(i, ends.shape[0] - 1)], count), tolerance, steps, books, nips, sides, places, marks, out[i],
        )  # fmt: skip

"""The settled state of throwing at a rate: the fixed point of throw and recovery, compiled.

Broyden's method on the wheels' speeds at the start of a throw; where it does not converge, cycle after cycle with
extrapolation.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.physics.compiled import compiled, entry
from stager.physics.contact.columns import (
    AFTER_A, ENTRY, GRIP, NIP, SIDE, SPEED_A, SUM_ENERGIES, TOLERANCE,
)  # fmt: skip
from stager.physics.contact.stages import JAM, NOT_REACHED, SYNC, throw_one
from stager.physics.drive.transient import (
    BUS, ENERGIES, ROOM, SPEED, TARGET, WHEEL_RADIUS, advance, read_wheels, set_wheels,
)  # fmt: skip

Floats = Any
SEARCH_TOLERANCE = 1e-8
"""Tolerance of a recovery in the search [-]."""
FINAL_TOLERANCE = 1e-9
"""Tolerance of the last recovery, whose energies are returned [-]."""
CLOSE = 0.2
"""Relative error of the wheel speeds, by the tolerance of the throws [-]."""
BROYDEN_CYCLES = 30
"""Most cycles of Broyden's method [-]."""
PLAIN_CYCLES = 150
"""Most cycles of the plain iteration behind it [-]."""
FIRST_TOLERANCE = 1e-4
"""Tolerance of the first throw of the search [-]."""
MAX_OVERSPEED = 4.0
"""Greatest speed by the set speed of a wheel that throws speed up [-]."""
MAX_EXTRAPOLATION = 0.1
"""Greatest extrapolation, by a wheel's set speed [-]."""
MAX_RATIO = 0.995
"""Greatest ratio of one change to the last that is extrapolated [-]."""
POINT, VALUE, CHANGE, DROP, REACHED, ALONG, LAST = range(7)
"""Rows of the workspace: speeds at the start of a cycle and at its end, last change of the point, decrease of the
residual VALUE − POINT, the products of the inverse with DROP and CHANGE, last change of the plain iteration."""
CONVERGED, CALLS = range(2)
"""Columns of the result: 1 where the search converged; number of cycles."""


@compiled
def by_sides(wheels: Floats, place: Any, column: int, sides: Floats, row: int) -> None:
    """Write a column of angular speeds as surface speeds of sides A and B of the stages [m/s]."""
    for k in range(place.shape[1]):
        for side in range(2):
            i = place[side, k]
            sides[row + side, k] = wheels[i, column] * wheels[i, WHEEL_RADIUS]


@compiled
def set_after_throw(wheels: Floats, place: Any, out: Floats) -> None:
    """Set the wheels to the speeds that a throw leaves [rad/s]."""
    for k in range(place.shape[1]):
        for side in range(1, -1, -1):
            i = place[side, k]
            wheels[i, SPEED] = out[AFTER_A + side, k] / wheels[i, WHEEL_RADIUS]


@compiled
def first_guess(wheels: Floats, place: Any, first: Floats, rows: Floats, inverse: Floats) -> None:
    """Set a diagonal estimate of the inverse of −d(residual)/d(point) from the first throw and recovery.

    A lack of speed before a throw remains after it while the wheel slips. With full grip, projectile and wheel come to
    a common speed, and the share 1 − (loss of speed)/(u − v₀) remains. VALUE is the end of the first recovery.
    """
    for i in range(inverse.shape[0]):
        for j in range(inverse.shape[0]):
            inverse[i, j] = 0.0
    for k in range(place.shape[1]):
        excess = first[SPEED_A, k] - first[ENTRY, k]
        lost = first[SPEED_A, k] - first[AFTER_A, k]
        own = 1.0 - lost / excess if first[GRIP, k] == SYNC and excess > lost and excess > 0.0 else 1.0
        for side in range(2):
            i = place[side, k]
            after = first[AFTER_A + side, k] / wheels[i, WHEEL_RADIUS]
            missing = wheels[i, TARGET] - after
            left = (wheels[i, TARGET] - rows[VALUE, i]) / missing if missing != 0.0 else 0.0
            slope = min(max(left, 0.0), 0.999) * min(max(own, 0.0), 1.0)
            inverse[i, i] = 1.0 / max(1.0 - slope, 1e-3)


@compiled
def broyden_step(wheels: Floats, rows: Floats, inverse: Floats, close: float) -> bool:
    """Move POINT by Broyden's step, or to VALUE where that leaves the bounds; return whether it still moves.

    Bounds are 0 and the set speed, or MAX_OVERSPEED times that where a recovery ends above it.
    """
    count, inside, moving = inverse.shape[0], True, False
    for i in range(count):
        change = 0.0
        for j in range(count):
            change += inverse[i, j] * (rows[VALUE, j] - rows[POINT, j])
        aim, top = rows[POINT, i] + change, wheels[i, TARGET]
        if rows[VALUE, i] > top:
            top *= MAX_OVERSPEED
        inside = inside and aim >= 0.0 and aim <= top
        rows[CHANGE, i] = change
    for i in range(count):
        residual = rows[VALUE, i] - rows[POINT, i]
        if not inside:
            rows[CHANGE, i] = residual
        moving = moving or max(abs(rows[CHANGE, i]), abs(residual)) > close * wheels[i, TARGET]
        rows[DROP, i] = residual
        rows[POINT, i] += rows[CHANGE, i]
        wheels[i, SPEED] = rows[POINT, i]
    return moving


@compiled
def broyden_update(wheels: Floats, rows: Floats, inverse: Floats) -> None:
    """Update `inverse` by Broyden's good update from the end of a cycle."""
    count = inverse.shape[0]
    for i in range(count):
        rows[VALUE, i] = wheels[i, SPEED]
        rows[DROP, i] -= rows[VALUE, i] - rows[POINT, i]
    scale = squares = 0.0
    for i in range(count):
        rows[REACHED, i] = rows[ALONG, i] = 0.0
        for j in range(count):
            rows[REACHED, i] += inverse[i, j] * rows[DROP, j]
            rows[ALONG, i] += rows[CHANGE, j] * inverse[j, i]
        scale += rows[ALONG, i] * rows[DROP, i]
        squares += rows[CHANGE, i] * rows[CHANGE, i]
    if abs(scale) > 1e-12 * squares:
        for i in range(count):
            for j in range(count):
                inverse[i, j] += (rows[CHANGE, i] - rows[REACHED, i]) * rows[ALONG, j] / scale


@compiled
def iterate_cycle(wheels: Floats, rows: Floats, close: float, extrapolate: bool) -> bool:
    """Move POINT to the end of a cycle and return whether it has converged.

    extrapolate: extrapolate the geometric series of the last two changes, up to MAX_EXTRAPOLATION of the set speed.
    """
    moving = False
    for i in range(wheels.shape[0]):
        change, target = wheels[i, SPEED] - rows[POINT, i], wheels[i, TARGET]
        moving = moving or abs(change) > close * target
        rows[POINT, i] += change
        if extrapolate:
            ratio = change / rows[LAST, i] if rows[LAST, i] != 0.0 else 0.0
            ratio = min(max(ratio, 0.0), MAX_RATIO)
            extra = min(max(change * ratio / (1.0 - ratio), -MAX_EXTRAPOLATION * target), MAX_EXTRAPOLATION * target)
            rows[POINT, i] = max(rows[POINT, i] + extra, 0.0)
        rows[LAST, i] = change
    return not moving


@compiled
def start_search(wheels: Floats, place: Any, first: Floats, rows: Floats, inverse: Floats) -> None:
    """Start the search at the set speeds, with the wheels at the end of the recovery from the first throw."""
    for i in range(wheels.shape[0]):
        rows[POINT, i], rows[VALUE, i] = wheels[i, TARGET], wheels[i, SPEED]
    first_guess(wheels, place, first, rows, inverse)


@compiled
def next_point(wheels: Floats, rows: Floats, inverse: Floats, close: float, call: int) -> bool:
    """Set the wheels to the next point of Broyden's method or the plain iteration; return whether it has converged."""
    if call < BROYDEN_CYCLES:
        return not broyden_step(wheels, rows, inverse, close)
    for i in range(wheels.shape[0]):
        if call == BROYDEN_CYCLES:
            rows[POINT, i], rows[LAST, i] = wheels[i, TARGET], 0.0
        wheels[i, SPEED] = rows[POINT, i]
    return False


@entry
def settle_samples(
    low: int, high: int, body: Floats, stages: Floats, law_numbers: Any, laws: Floats, built: Floats, supply: Floats,
    settings: Floats, bus: Floats, place: Any, fed: Floats, rest: Floats, first: Floats, options: Floats, point: Floats,
    out: Floats, exits: Floats, ended: Floats, energy: Floats, whole: Floats, found: Floats,
) -> int:  # fmt: skip
    """Find the settled state of the samples from `low` up to `high`; return the number of throws that failed.

    Arguments as in `throw_samples` and `advance_samples`, the first axis over the samples or of length 1.

    Parameters
    ----------
    place : array of int, shape (2, stages)
        The wheel of side A and of side B of each stage; the same where both are alike.
    fed : array, shape (samples, 2)
        Entry speed [m/s] and spin [rad/s].
    rest : array, shape (samples or 1,)
        Time for recovery [s].
    first : array, shape (samples, RECORD, stages)
        Records of the throws from the set speeds.
    point, out, exits : array
        Written to: wheel speeds at the start of a settled throw [rad/s], its records and its exit.
    ended, energy, whole : array
        Written to: speeds at the end of the recovery and its energies.
    found : array, shape (samples, 2)
        Written to: CONVERGED and CALLS.
    """
    count, wide, lost = place.shape[1], built.shape[1], 0
    nips, sides = np.zeros((count, NIP)), np.zeros((2 * count, SIDE))
    places, marks = np.zeros((5, 4 * count + 6)), np.zeros((5, 4 * count + 1), np.int64)
    wheels, totals, speeds = np.zeros((wide, ROOM)), np.zeros(7), np.zeros((4, count))
    rows, inverse, accuracy = np.zeros((7, wide)), np.zeros((wide, wide)), np.zeros(3)
    close = CLOSE * options[TOLERANCE]
    for n in range(low, high):
        set_wheels(wheels, built[min(n, built.shape[0] - 1)], settings[min(n, settings.shape[0] - 1)])
        source, voltage = supply[min(n, supply.shape[0] - 1)], bus[min(n, bus.shape[0] - 1)]
        pause, tolerance, last, converged = rest[min(n, rest.shape[0] - 1)], SEARCH_TOLERANCE, False, False
        set_after_throw(wheels, place, first[n])
        totals[BUS], totals[ENERGIES], accuracy[SUM_ENERGIES] = voltage, 0.0, 0.0
        advance(wheels, source, totals, pause, tolerance, -1.0)
        start_search(wheels, place, first[n], rows, inverse)
        for call in range(BROYDEN_CYCLES + PLAIN_CYCLES + 1):
            if call < BROYDEN_CYCLES + PLAIN_CYCLES and not last:
                last = converged = next_point(wheels, rows, inverse, close, call)
            else:
                last = True
            accuracy[TOLERANCE] = options[TOLERANCE]
            if call == 0 and not last:
                accuracy[TOLERANCE] = max(FIRST_TOLERANCE, options[TOLERANCE])
            if last:
                accuracy[SUM_ENERGIES], totals[ENERGIES], tolerance = options[SUM_ENERGIES], 1.0, FINAL_TOLERANCE
                found[n, CONVERGED], found[n, CALLS] = 1.0 if converged else 0.0, call
                for i in range(wide):
                    point[n, i] = wheels[i, SPEED] = rows[POINT, i]
            by_sides(wheels, place, SPEED, speeds, 0)
            by_sides(wheels, place, TARGET, speeds, 2)
            exits[n, 0], exits[n, 1], exits[n, 2] = throw_one(
                body[min(n, body.shape[0] - 1)], stages[min(n, stages.shape[0] - 1)], law_numbers,
                laws[min(n, laws.shape[0] - 1)], speeds[0], speeds[1], speeds[2], speeds[3], fed[n, 0], fed[n, 1],
                count, accuracy, nips, sides, places, marks, out[n],
            )  # fmt: skip
            set_after_throw(wheels, place, out[n])
            totals[BUS] = voltage
            whole[n, 2] = advance(wheels, source, totals, pause, tolerance, -1.0)
            if last:
                break
            if call < BROYDEN_CYCLES:
                broyden_update(wheels, rows, inverse)
            elif exits[n, 2] == JAM:
                last = True
            else:
                last = converged = iterate_cycle(wheels, rows, close, (call - BROYDEN_CYCLES) % 2 == 1)
        if exits[n, 2] == NOT_REACHED:
            lost += 1
        read_wheels(wheels, totals, ended[n], energy[n], whole[n])
    return lost

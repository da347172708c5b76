"""One step of many lanes; the method is `scheme`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.books import Books
from stager.physics.transit.drift import drift
from stager.physics.transit.equations import Implicit, Lanes, Slopes, over_sides, slopes
from stager.physics.transit.pressing import Place
from stager.physics.transit.scheme import DRIFT, GAMMA, INSIDE, SCALED_KNOWN, STATE, TOTAL
from stager.physics.transit.segment import Segment

_STATE, _KNOWN = (tuple(tuple(np.array(weight) for weight in row) for row in rows) for rows in (STATE, SCALED_KNOWN))
_DRIFT, _TOTAL = (tuple(np.array(weight) for weight in row) for row in (DRIFT, TOTAL))
"""Arrays without axes multiply sooner than numbers."""


class Desk:
    """Arrays that the steps of a pool write to again and again; fresh ones would cost more than the sums in them."""

    def __init__(self, rows: int, lanes: int) -> None:
        self.parts = np.empty((6, rows, lanes))
        self.inner, self.spare, self.drift = np.empty((3, rows, lanes))


class Stepped(NamedTuple):
    """New state, shape (rows, lanes); local error of the rows that are stepped; greatest |thrust| [N] and slip power
    [W] inside the step, shape (lanes,)."""

    fresh: Floats
    error: Floats
    thrust: Floats
    power: Floats


def step(
    lanes: Lanes, segment: Segment, way: list[Place], now: Slopes, state: Floats, size: Floats, desk: Desk
) -> Stepped:
    """One step of `state`, shape (rows, lanes).

    The last stage's state is the one before plus the part before: the last row of STATE begins as the row before.
    way: the places of the stages, PLACE steps ahead; now: the rates at the first of them; size: of the step.
    """
    start, parts = state[: lanes.sides.rows], desk.parts
    reach = GAMMA * size
    brief, stretch = reach / now.speed, way[0].stretch
    pace = brief * stretch
    along = drift(lanes, segment, way[0].place, now)
    brief *= size
    turned, bent = brief * stretch * stretch, brief * (segment.bow + segment.bow)
    pull = np.multiply(along.rate, turned, out=desk.drift)
    pull += np.multiply(now.rate, bent, out=desk.spare)
    implicit = Implicit(lanes, now, pace)
    books = Books(lanes, now, pace) if lanes.books else None
    thrust = power = size
    inner, at, quick = start, now, pace
    for number in range(6):
        if number:
            inner = _mix(_STATE[number], parts, start, desk) if number < 5 else np.add(inner, parts[4], out=inner)
            at = slopes(lanes, way[number].pressing, inner, steep=False)
            quick = reach * way[number].stretch
            quick /= at.speed
        rubbing = at.rubbing() if books or 0 < number <= INSIDE else at.force
        if 0 < number <= INSIDE:
            pushed, rubbed = np.abs(at.thrust), over_sides(rubbing)
            thrust = pushed if number == 1 else np.fmax(thrust, pushed, out=thrust)
            power = rubbed if number == 1 else np.fmax(power, rubbed, out=power)
        known = np.multiply(at.rate, quick, out=at.rate) if number else at.rate * quick
        if DRIFT[number]:
            known += np.multiply(pull, _DRIFT[number], out=desk.spare)
        for weight, part in zip(_KNOWN[number], parts, strict=False):
            known += np.multiply(part, weight, out=desk.spare)
        force = implicit.solve(known, parts[number])
        if books:
            books.add(_TOTAL[number], at, rubbing, quick, force)
    fresh = np.empty_like(state)
    np.add(inner, parts[5], out=fresh[: lanes.sides.rows])
    if books:
        gained = _TOTAL[0] * parts[0]
        for weight, part in zip(_TOTAL[1:], parts[1:], strict=True):
            gained += np.multiply(part, weight, out=desk.spare)
        books.close(gained, along, turned, bent, state[lanes.sides.rows :], fresh[lanes.sides.rows :])
    return Stepped(fresh, np.abs(parts[5]), thrust, power)


def _mix(weights: tuple[Floats, ...], parts: Floats, start: Floats, desk: Desk) -> Floats:
    """start + Σ weight·part."""
    total: Floats = np.add(start, np.multiply(parts[0], weights[0], out=desk.spare), out=desk.inner)
    for weight, part in zip(weights[1:], parts[1:], strict=False):
        total += np.multiply(part, weight, out=desk.spare)
    return total

"""Steps of an enclosure's equations along a contact, each cell at its own pace."""

from __future__ import annotations

from math import sqrt
from typing import Any, NamedTuple

from stager.bounds.columns import JAMS, SPENT
from stager.bounds.normal_force import along, piece, pieces
from stager.bounds.traction import Traction
from stager.model.arrays import Floats
from stager.physics.compiled import compiled

GAMMA = 1.0 - sqrt(0.5)
FINEST_STEP = 1.0 / 16
ROUGHNESS = 8.0
PATIENCE = 100_000
ARRIVED = 1.0 - 1e-12
GAIN, OWN, FIRST, SECOND, FRESH, ROUGH, SEEN = range(7)
"""Rows of the room that a step works in."""
ROOM = 7, 8


class Run(NamedTuple):
    """One cell on its way through a contact.

    traction: of the driven side, other: of the other; body, press, lane: arrays, see `columns`; room: to work in, ROOM.
    """

    traction: Traction
    other: Traction
    body: Floats
    press: Floats
    lane: Floats
    room: Floats


def marching(rate: Any, brace: Any, keep: Any, scale: Any, note: Any, feel: Any) -> Any:
    """Return a compiled function of (run, state, steps) that takes `state`, an array of bounds, through a contact.

    ROS2 of Verwer, Spee, Blom and Hundsdorfer (SIAM J. Sci. Comput. 20, 1999; as read in open codes): order 2
    whatever stands for the Jacobian, L-stable where that is the stiff part; here its diagonal. A cell whose throws all
    jam goes no further. steps: how many a smooth piece takes at least; where the inner formula of order 1 is off by
    more than ROUGHNESS/steps², a step is cut, at most to FINEST_STEP of its size. SPENT of the lane counts them.

    Parameters
    ----------
    rate(run, number, place, state, seeing) : function
        Writes to the room d(state)/dx in piece `number` at `place` [m] as GAIN, its derivative by the row's own value,
        at most 0, as OWN, and where it is `seeing` what `feel` takes as SEEN.
    brace(run, number, place, ahead, state) : function
        Called before a step from `place` to `ahead` [m]: notes what the state cannot leave on the way.
    keep(run, state) : function
        Puts a state back into what is known of it beforehand.
    scale(run, state, row) : function
        Returns what errors of a row are measured by.
    note(run, state) : function
        Called at each step's end, before that is kept.
    feel(run, seen) : function
        Called with what `rate` has seen where steps begin and pieces end: at the axis plane, where a piece ends,
        acceleration may jump.
    """

    @compiled
    def march(run: Any, state: Any, steps: int) -> None:
        largest, lane, spent, rows = 1.0 / steps, run.lane, 0, state.shape[0]
        first, second, fresh, rough = run.room[FIRST], run.room[SECOND], run.room[FRESH], run.room[ROUGH]
        gain, own, seen = run.room[GAIN], run.room[OWN], run.room[SEEN]
        yes = largest > 0.0  # Not a literal, for each of which the compiler would make its own `rate`.
        for number in range(pieces(run.body)):
            start, span, bend = piece(run.body, run.press, number)
            at, size = 0.0, largest
            while at < ARRIVED and lane[JAMS] == 0.0:
                if spent == PATIENCE:
                    lane[SPENT] = -1.0
                    return
                spent += 1
                size = min(size, 1.0 - at)
                place, stretch = along(start, span, bend, at)
                ahead, stretch_ahead = along(start, span, bend, at + size)
                brace(run, number, place, ahead, state)
                rate(run, number, place, state, yes)
                for row in range(rows):
                    # The stretch of a bent piece is 0 at one end: stiffness is taken in the middle of the step.
                    second[row] = 1.0 / (1.0 - (GAMMA * size) * (0.5 * (stretch + stretch_ahead)) * own[row])
                    first[row] = stretch * gain[row] * second[row]
                    fresh[row] = rough[row] = state[row] + size * first[row]
                keep(run, fresh)
                rate(run, number, ahead, fresh, not yes)
                for row in range(rows):
                    after = (stretch_ahead * gain[row] - 2.0 * first[row]) * second[row]
                    second[row] = fresh[row] = state[row] + size * (1.5 * first[row] + 0.5 * after)
                keep(run, fresh)
                keep(run, rough)
                ratio = 0.0
                for row in range(rows):
                    error = abs(fresh[row] - rough[row]) / scale(run, state, row)
                    if ratio == ratio and not error <= ratio:
                        ratio = error
                ratio *= steps * steps / ROUGHNESS
                # A ratio that is not a number cuts the step as far as may be.
                factor = 0.2
                if ratio == ratio:
                    factor = max(min(0.9 / sqrt(max(ratio, 1e-8)), 4.0), 0.2)
                if ratio <= 1.0 or size <= FINEST_STEP * largest:
                    note(run, second)
                    feel(run, seen)
                    for row in range(rows):
                        state[row] = fresh[row]
                    at += size
                else:
                    factor = min(factor, 0.7)
                size = min(max(size * factor, FINEST_STEP * largest), largest)
            if at > 0.0:
                rate(run, number, along(start, span, bend, at)[0], state, yes)
                feel(run, seen)
        lane[SPENT] = spent

    return march


@compiled
def stand(run: Any, number: int, place: float, ahead: float, state: Any) -> None:
    """Note nothing before a step: nothing is known that `keep` does not know."""

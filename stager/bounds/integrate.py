"""Integrate the equations of an enclosure along a contact, each cell with its own steps."""

from __future__ import annotations

from math import sqrt
from typing import Any, NamedTuple

from stager.bounds.normal_force import JAMS, SPENT, along, piece, pieces
from stager.bounds.traction import Traction
from stager.model.arrays import Floats
from stager.physics.compiled import compiled

GAMMA = 1.0 - sqrt(0.5)
"""Coefficient of ROS2 that makes it L-stable [-]."""
FINEST_STEP = 1.0 / 16
"""Smallest step over the largest [-]."""
ROUGHNESS = 8.0
"""Allowed difference of the formulas of order 1 and 2, times steps², over the scale of a row [-]."""
MOST_STEPS = 100_000
"""Steps after which a cell is given up."""
ARRIVED = 1.0 - 1e-12
"""Parameter of a piece at which it counts as passed [-]."""
GAIN, OWN, FIRST, SECOND, FRESH, ROUGH, SEEN = range(7)
"""Rows of the workspace: d(state)/dx, its derivative by the row's own value, stages of the step, results of order 2 and
1, values for `record`."""
WORKSPACE = 7, 8
"""Shape of the workspace."""


class Run(NamedTuple):
    """A cell that is being integrated.

    traction, other: of the driven and of the other side; body, press, lane: arrays, see `columns`; room: workspace of
    shape WORKSPACE.
    """

    traction: Traction
    other: Traction
    body: Floats
    press: Floats
    lane: Floats
    room: Floats


def integrator(rate: Any, set_barriers: Any, clip: Any, scale: Any, end_step: Any, record: Any) -> Any:
    """Return a compiled function of (run, state, steps) that integrates `state`, an array of bounds, over a contact.

    Method: ROS2 of Verwer, Spee, Blom and Hundsdorfer (SIAM J. Sci. Comput. 20, 1999; as read in open codes), of order
    2 for any approximation of the Jacobian and L-stable where that holds the stiff part; here it is the diagonal. A
    cell whose throws all jam ends early. steps: least number for a smooth piece; a step is cut, at most to FINEST_STEP
    of its size, where the embedded formula of order 1 differs by more than ROUGHNESS/steps². SPENT counts the steps.

    Parameters
    ----------
    rate(run, number, place, state, seeing) : function
        Writes to the workspace d(state)/dx in piece `number` at `place` [m] as GAIN, its derivative by the row's own
        value, at most 0, as OWN, and if `seeing` the values for `record` as SEEN.
    set_barriers(run, number, place, ahead, state) : function
        Called before a step from `place` to `ahead` [m]: sets barriers that the state cannot cross in it.
    clip(run, state) : function
        Clips a state to bounds that are known without integration.
    scale(run, state, row) : function
        Returns the scale of errors of a row.
    end_step(run, state) : function
        Called at the end of each step, before the state is clipped.
    record(run, seen) : function
        Called with SEEN where steps begin and pieces end. At the axis plane, where a piece ends, acceleration may jump.
    """

    @compiled
    def integrate(run: Any, state: Any, steps: int) -> None:
        largest, lane, spent, rows = 1.0 / steps, run.lane, 0, state.shape[0]
        first, second, fresh, rough = run.room[FIRST], run.room[SECOND], run.room[FRESH], run.room[ROUGH]
        gain, own, seen = run.room[GAIN], run.room[OWN], run.room[SEEN]
        yes = largest > 0.0  # Not a literal: the compiler would make a copy of `rate` for each.
        for number in range(pieces(run.body)):
            start, span, bend = piece(run.body, run.press, number)
            at, size = 0.0, largest
            while at < ARRIVED and lane[JAMS] == 0.0:
                if spent == MOST_STEPS:
                    lane[SPENT] = -1.0
                    return
                spent += 1
                size = min(size, 1.0 - at)
                place, stretch = along(start, span, bend, at)
                ahead, stretch_ahead = along(start, span, bend, at + size)
                set_barriers(run, number, place, ahead, state)
                rate(run, number, place, state, yes)
                for row in range(rows):
                    # The stretch of a bent piece is 0 at one end, so stiffness is taken in the middle of the step.
                    second[row] = 1.0 / (1.0 - (GAMMA * size) * (0.5 * (stretch + stretch_ahead)) * own[row])
                    first[row] = stretch * gain[row] * second[row]
                    fresh[row] = rough[row] = state[row] + size * first[row]
                clip(run, fresh)
                rate(run, number, ahead, fresh, not yes)
                for row in range(rows):
                    after = (stretch_ahead * gain[row] - 2.0 * first[row]) * second[row]
                    second[row] = fresh[row] = state[row] + size * (1.5 * first[row] + 0.5 * after)
                clip(run, fresh)
                clip(run, rough)
                ratio = 0.0
                for row in range(rows):
                    error = abs(fresh[row] - rough[row]) / scale(run, state, row)
                    if ratio == ratio and not error <= ratio:
                        ratio = error
                ratio *= steps * steps / ROUGHNESS
                # A ratio that is NaN cuts the step as far as possible.
                factor = 0.2
                if ratio == ratio:
                    factor = max(min(0.9 / sqrt(max(ratio, 1e-8)), 4.0), 0.2)
                if ratio <= 1.0 or size <= FINEST_STEP * largest:
                    end_step(run, second)
                    record(run, seen)
                    for row in range(rows):
                        state[row] = fresh[row]
                    at += size
                else:
                    factor = min(factor, 0.7)
                size = min(max(size * factor, FINEST_STEP * largest), largest)
            if at > 0.0:
                rate(run, number, along(start, span, bend, at)[0], state, yes)
                record(run, seen)
        lane[SPENT] = spent

    return integrate


@compiled
def no_barriers(run: Any, number: int, place: float, ahead: float, state: Any) -> None:
    """Set no barriers before a step."""

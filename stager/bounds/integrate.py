"""Steps of an enclosure's equations along a contact, each lane at its own pace."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from stager.bounds.normal_force import Piece, Press
from stager.bounds.records import Meter
from stager.errors import NotComputable
from stager.model.arrays import Floats
from stager.physics.batch import take

GAMMA = 1.0 - np.sqrt(0.5)
FINEST_STEP = 1.0 / 16
ROUGHNESS = 8.0
PATIENCE = 100_000


class Run(Protocol):
    """Cells on their way through a contact; states have shape (rows, lanes)."""

    press: Press
    jams: NDArray[np.bool_]
    """Lanes whose throws all jam: these go no further."""

    def rate(
        self, number: int, place: Floats, state: Floats, *, seeing: bool = True
    ) -> tuple[Floats, Floats, Floats | None]:
        """d(state)/dx in piece `number` at `place` [m], its derivative by the row's own value, at most 0, and what
        `feel` takes, None unless `seeing`: least acceleration [m/s^2], and more if it likes."""
        ...

    def brace(self, number: int, place: Floats, ahead: Floats, state: Floats) -> None:
        """Called before a step from `place` to `ahead` [m]: note what the state cannot leave on the way."""
        ...

    def keep(self, state: Floats) -> Floats:
        """`state`, put back into what is known of it beforehand; also several, (rows, several, lanes)."""
        ...

    def scale(self, state: Floats) -> Floats:
        """Return what errors of `state` are measured by, same shape."""
        ...

    def note(self, chosen: NDArray[np.bool_], state: Floats) -> None:
        """Called at each step's end, before it is kept, for the chosen lanes."""
        ...

    def feel(self, chosen: NDArray[np.bool_], seen: Floats) -> None:
        """Called for the chosen lanes with what `rate` has seen where steps begin and pieces end: at the axis plane,
        where a piece ends, acceleration may jump."""
        ...

    def merge(self, index: NDArray[np.intp], part: Any) -> None:
        """Take over what `part`, the lanes of `index`, has noted."""
        ...


def march(run: Run, state: Floats, steps: int, meter: Meter) -> Floats:
    """Take `state`, shape (rows, lanes), through the whole contact.

    ROS2 of Verwer, Spee, Blom and Hundsdorfer (SIAM J. Sci. Comput. 20, 1999; as read in open codes): order 2
    whatever stands for the Jacobian, L-stable where that is the stiff part; here its diagonal.
    steps: how many a piece takes at least; where the inner formula of order 1 is off by more than ROUGHNESS/steps², a
    step is cut, at most to FINEST_STEP of its size. meter: counts the steps.
    """
    for number, piece in enumerate(run.press.pieces):
        state = _through(run, number, piece, state, steps, meter)
    return state


def _through(run: Any, number: int, piece: Piece, state: Floats, steps: int, meter: Meter) -> Floats:
    lanes, largest = state.shape[1], 1.0 / steps
    out, index = state.copy(), np.flatnonzero(~run.jams)
    here, way, at, size = run, piece, np.zeros(lanes), np.full(lanes, largest)
    if index.size < lanes:
        here, way, state, at, size = take(run, index), take(piece, index), state[:, index], at[index], size[index]
    for _ in range(PATIENCE):
        if index.size == 0:
            return out
        meter.step(index.size)
        size = np.minimum(size, 1.0 - at)
        fresh, rough, seen = _step(here, number, way, at, size, state)
        kept, near = here.keep(np.stack([fresh, rough], axis=1)).swapaxes(0, 1)
        ratio = (np.abs(kept - near) / here.scale(state)).max(axis=0) * (steps**2 / ROUGHNESS)
        good = (ratio <= 1.0) | (size <= FINEST_STEP * largest)
        here.note(good, fresh)
        here.feel(good, seen)
        state, at = np.where(good, kept, state), np.where(good, at + size, at)
        # A ratio that is not a number cuts the step as far as may be.
        factor = np.fmax(np.minimum(0.9 / np.sqrt(np.maximum(ratio, 1e-8)), 4.0), 0.2)
        size = size * np.where(good, factor, np.minimum(factor, 0.7))
        size = np.minimum(np.maximum(size, FINEST_STEP * largest), largest)
        done = (at >= 1.0 - 1e-12) | here.jams
        if done.any():
            here.feel(done, here.rate(number, way.at(at)[0], state)[2])
            out[:, index[done]] = state[:, done]
            if here is not run:
                run.merge(index, here)
            rest = np.flatnonzero(~done)
            index, state, at, size = index[rest], state[:, rest], at[rest], size[rest]
            here, way = take(here, rest), take(way, rest)
    raise NotComputable("a bound did not come to the end of its contact within the allowed number of steps")


def _step(
    run: Run, number: int, piece: Piece, at: Floats, size: Floats, state: Floats
) -> tuple[Floats, Floats, Floats | None]:
    place, stretch = piece.at(at)
    ahead, stretch_ahead = piece.at(at + size)
    run.brace(number, place, ahead, state)
    slope, own, seen = run.rate(number, place, state)
    # The stretch of a bent piece is 0 at one end: stiffness is taken in the middle of the step.
    divisor = 1.0 - (GAMMA * size) * (0.5 * (stretch + stretch_ahead)) * own
    first = stretch * slope / divisor
    slope, _, _ = run.rate(number, ahead, run.keep(state + size * first), seeing=False)
    second = (stretch_ahead * slope - 2.0 * first) / divisor
    return state + size * (1.5 * first + 0.5 * second), state + size * first, seen

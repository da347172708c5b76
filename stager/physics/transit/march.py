"""Steps along one segment, each lane at its own pace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.hardware.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.alone_march import Seen, Start, finish
from stager.physics.transit.drift import segment_drift
from stager.physics.transit.equations import Lanes, slopes
from stager.physics.transit.lanes import take
from stager.physics.transit.pool import Journey, Pool
from stager.physics.transit.pressing import places
from stager.physics.transit.rosenbrock import PLACE, step
from stager.physics.transit.segment import FIRST_STEP, FLOOR, LEAST_STEP, PATIENCE, STILL, Segment, growths

FEW = 12
"""As many lanes as plain numbers do faster than arrays."""
WIDTH = 8192
"""Lanes that step together: many enough to share the cost of a step, few enough to stay in cache."""

KEPT = 0.75
"""Share of the lanes in step below which those that are over leave the pool."""

_AHEAD = np.array(PLACE[:-1])[:, None]
"""The last two stages lie at the same place."""


def march(lanes: Lanes, segment: Segment, journey: Journey, options: Options) -> None:
    """Advance `journey` through `segment`, in place. Lanes that jam stop where they are.

    As lanes come to the end of the segment others enter it, so that steps stay well filled.
    """
    waiting = np.flatnonzero(~journey.jammed & (np.broadcast_to(segment.span, journey.jammed.shape) > 0.0))
    size = 1.0 / options.steps if options.steps else FIRST_STEP
    pool = Pool.start(journey, waiting[:WIDTH], size)
    waiting = waiting[WIDTH:]
    here, piece = _own(lanes, segment, pool.index, journey)
    for _ in range(PATIENCE * (1 + waiting.size // WIDTH)):
        left = pool.index.size - int(np.count_nonzero(pool.over))
        if left < pool.index.size and left <= max(FEW, KEPT * pool.index.size):
            _leave(here, piece, journey, pool)
            pool = pool.take(np.flatnonzero(~pool.over))
            if waiting.size:
                pool = pool.join(Pool.start(journey, waiting[: WIDTH - left], size))
                waiting = waiting[WIDTH - left :]
            here, piece = _own(lanes, segment, pool.index, journey)
        if pool.index.size == 0:
            return
        if pool.index.size <= FEW and len(segment.profiles) == 1:
            _one_by_one(here, piece, journey, pool, options)
            return
        _together(here, piece, pool, options)
    raise StagerError("a contact did not come to its end within the allowed number of steps")


def _together(lanes: Lanes, segment: Segment, pool: Pool, options: Options) -> None:
    """One step of all lanes in the pool; those that are over stay where they are."""
    state, place = pool.state, pool.place
    size = np.where(pool.over, 0.0, np.minimum(pool.size, 1.0 - place))
    distinct = places(lanes, segment, place + _AHEAD * size)
    way = [*distinct, distinct[-1]]
    now = slopes(lanes, way[0].pressing, state)
    pool.watch(now)
    drift = segment_drift(lanes, segment, place, state, now, way[0].stretch)
    with np.errstate(over="ignore", invalid="ignore"):
        fresh, error, inside = step(lanes, way, now, drift, state, size)
        accepted, jams, pool.size = _judge(lanes, state, fresh, error, size, pool.held, options)
        pool.peaks(inside, accepted)
    pool.held = ~accepted
    pool.state = np.where(accepted, fresh, state)
    pool.place = np.where(accepted, place + size, place)
    pool.jammed |= jams
    pool.over = pool.jammed | (pool.place >= 1.0 - 1e-12)


def _own(lanes: Lanes, segment: Segment, index: NDArray[np.intp], journey: Journey) -> tuple[Lanes, Segment]:
    """What belongs to the lanes `index`; all of them come in their order."""
    if index.size == journey.jammed.size:
        return lanes, segment
    return take(lanes, index), take(segment, index)


def _leave(lanes: Lanes, segment: Segment, journey: Journey, pool: Pool) -> None:
    """Write back the lanes of the pool that are over, after a look at where they came to."""
    chosen = np.flatnonzero(pool.over)
    if chosen.size:
        own, here, piece = pool.take(chosen), take(lanes, chosen), take(segment, chosen)
        end = places(here, piece, own.place[None])[0]
        own.watch(slopes(here, end.pressing, own.state, steep=False))
        own.leave(journey, piece.at(own.place)[0])


def _one_by_one(lanes: Lanes, segment: Segment, journey: Journey, pool: Pool, options: Options) -> None:
    """Hand the last lanes over to plain numbers."""
    for k in range(pool.index.size):
        own, piece = (lanes, segment) if pool.index.size == 1 else (take(lanes, [k]), take(segment, [k]))
        start = Start(pool.state[:, k].tolist(), float(pool.place[k]), float(pool.size[k]), bool(pool.held[k]))
        seen = Seen(
            float(pool.peak_acceleration[k]), float(pool.peak_slip_power[k]),
            pool.least_slip[:, k].tolist(), pool.last_slip[:, k].tolist(),
        )  # fmt: skip
        pool.state[:, k], pool.place[k], pool.jammed[k] = finish(own, piece, start, seen, options)
        pool.peak_acceleration[k], pool.peak_slip_power[k] = seen.acceleration, seen.slip_power
        pool.least_slip[:, k], pool.last_slip[:, k] = seen.least, seen.last
    pool.leave(journey, segment.at(pool.place)[0])


def _judge(
    lanes: Lanes,
    state: Floats,
    fresh: Floats,
    error: Floats,
    size: Floats,
    held: NDArray[np.bool_],
    options: Options,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Floats]:
    """Accepted, jammed and next step size, each shape (lanes,). A step is not longer right after one that failed."""
    count = len(lanes.sides.laws)
    speed = np.maximum(np.maximum(state[0], lanes.sides.top), STILL)
    ratio = 2.0 * state[0] * error[0] / (state[0] * state[0] + 0.01 * (speed * speed))
    for row in error[2 : 2 + count]:
        ratio = np.maximum(ratio, row / speed)
    if lanes.sides.turns:
        ratio = np.maximum(ratio, lanes.radius * error[1] / speed)
    stopped = ~(fresh[0] > FLOOR * speed)
    if options.steps:
        return ~stopped, stopped, size
    ratio /= options.tolerance
    good = (ratio <= 1.0) & ~stopped
    jams = stopped & (size <= LEAST_STEP)
    most = np.where(good, np.where(held, 1.0, np.inf), 0.8)
    factor = np.where(stopped, 0.25, np.minimum(growths(ratio), most))
    return good, jams, size * factor

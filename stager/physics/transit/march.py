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

FEW = 6
"""As many lanes as plain numbers do faster than arrays."""
WIDTH = 8192
"""Lanes that step together: many enough to share the cost of a step, few enough to stay in cache."""

_AHEAD = np.array(PLACE[:-1])[:, None]
"""The last two stages lie at the same place."""


def march(lanes: Lanes, segment: Segment, journey: Journey, options: Options) -> None:
    """Advance `journey` through `segment`, in place. Lanes that jam stop where they are.

    As lanes come to the end of the segment others enter it, so that steps stay well filled.
    """
    waiting = np.flatnonzero(~journey.jammed & (np.broadcast_to(segment.span, journey.jammed.shape) > 0.0))
    size = 1.0 / options.steps if options.steps else FIRST_STEP
    pool = Pool.start(journey, waiting[:0], size)
    for _ in range(PATIENCE * (1 + waiting.size // WIDTH)):
        if waiting.size and pool.index.size < 3 * WIDTH // 4:
            entering = WIDTH - pool.index.size
            pool = pool.join(Pool.start(journey, waiting[:entering], size))
            waiting = waiting[entering:]
            here, piece = take(lanes, pool.index), take(segment, pool.index)
        if pool.index.size == 0:
            return
        if pool.index.size <= FEW and len(segment.profiles) == 1:
            _one_by_one(here, piece, journey, pool, options)
            return
        staying = _together(here, piece, journey, pool, options)
        if staying is not None:
            pool, here, piece = pool.take(staying), take(here, staying), take(piece, staying)
    raise StagerError("a contact did not come to its end within the allowed number of steps")


def _together(
    lanes: Lanes, segment: Segment, journey: Journey, pool: Pool, options: Options
) -> NDArray[np.intp] | None:
    """One step of all lanes in the pool; gives those that are still under way, None if all are."""
    state, place = pool.state, pool.place
    size = np.minimum(pool.size, 1.0 - place)
    distinct = places(lanes, segment, place + _AHEAD * size)
    way = [*distinct, distinct[-1]]
    now = slopes(lanes, way[0].pressing, state)
    pool.watch(lanes, now)
    drift = segment_drift(lanes, segment, place, state, now, way[0].stretch)
    with np.errstate(over="ignore", invalid="ignore"):
        fresh, error, inside = step(lanes, way, now, drift, state, size)
        accepted, jams, pool.size = _judge(lanes, state, fresh, error, size, pool.held, options)
        for within in inside:
            pool.peaks(lanes, within, accepted)
    pool.held = ~accepted
    pool.state = np.where(accepted, fresh, state)
    pool.place = np.where(accepted, place + size, place)
    done = accepted & (pool.place >= 1.0 - 1e-12)
    leaving = done | jams
    if not leaving.any():
        return None
    journey.jammed[pool.index[jams]] = True
    _leave(lanes, segment, journey, pool, np.flatnonzero(jams))
    _leave(lanes, segment, journey, pool, np.flatnonzero(done), look=True)
    return np.flatnonzero(~leaving)


def _leave(
    lanes: Lanes, segment: Segment, journey: Journey, pool: Pool, chosen: NDArray[np.intp], *, look: bool = False
) -> None:
    if chosen.size:
        own, here, piece = pool.take(chosen), take(lanes, chosen), take(segment, chosen)
        if look:
            end = places(here, piece, own.place[None])[0]
            own.watch(here, slopes(here, end.pressing, own.state, steep=False))
        own.leave(journey, piece.at(own.place)[0])


def _one_by_one(lanes: Lanes, segment: Segment, journey: Journey, pool: Pool, options: Options) -> None:
    """Hand the last lanes over to plain numbers."""
    for k, lane in enumerate(pool.index):
        only = np.array([k])
        own, piece = take(lanes, only), take(segment, only)
        start = Start(pool.state[:, k].tolist(), float(pool.place[k]), float(pool.size[k]), bool(pool.held[k]))
        seen = Seen(
            float(pool.peak_acceleration[k]), float(pool.peak_slip_power[k]),
            pool.least_slip[:, k].tolist(), pool.last_slip[:, k].tolist(),
        )  # fmt: skip
        end, at, jammed = finish(own, piece, start, seen, options)
        journey.state[:, lane] = end
        journey.jammed[lane] = jammed
        journey.place[lane] = piece.at(np.array([at]))[0][0]
        journey.peak_acceleration[lane], journey.peak_slip_power[lane] = seen.acceleration, seen.slip_power
        journey.least_slip[:, lane], journey.last_slip[:, lane] = seen.least, seen.last


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
    speed = np.maximum(np.maximum(state[0], lanes.sides.set_speed.max(axis=0)), STILL)
    ratio = 2.0 * state[0] * error[0] / (state[0] * state[0] + 0.01 * (speed * speed))
    ratio = np.maximum(ratio, lanes.radius * error[1] / speed)
    ratio = np.maximum(ratio, (error[2 : 2 + count] / speed).max(axis=0)) / options.tolerance
    stopped = ~(fresh[0] > FLOOR * speed)
    if options.steps:
        return ~stopped, stopped, size
    good = (ratio <= 1.0) & ~stopped
    jams = stopped & (size <= LEAST_STEP)
    factor = growths(ratio)
    factor = np.where(held, np.minimum(factor, 1.0), factor)
    factor = np.where(stopped, 0.25, np.where(good, factor, np.minimum(factor, 0.8)))
    return good, jams, size * factor

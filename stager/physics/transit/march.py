"""Steps along the segments, each lane at its own pace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.model.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.alone_march import finish, start
from stager.physics.transit.course import Course
from stager.physics.transit.equations import Lanes, slopes
from stager.physics.transit.lanes import bare, each, take
from stager.physics.transit.pool import Pool
from stager.physics.transit.pressing import places
from stager.physics.transit.rosenbrock import Desk, Stepped, step
from stager.physics.transit.scheme import PLACE
from stager.physics.transit.segment import ARRIVED, FIRST_STEP, FLOOR, LEAST_STEP, PATIENCE, Segment, growths
from stager.physics.transit.trail import Trail

FEW = 16
"""As many lanes as plain numbers do faster than arrays."""
WIDTH = 12288
"""Lanes that step together: many enough to share the cost of a step, few enough to stay in cache."""
KEPT = 0.85
"""Share of the lanes in step below which those that are over leave the pool."""

_AHEAD = np.array(PLACE[:-1])[:, None]
"""The last two stages lie at the same place."""
_END, _SHRINK = np.array(1.0), np.array(0.8)


def march(lanes: Lanes, course: Course, trail: Trail, options: Options) -> None:
    """Take all lanes of `trail` through all segments of `course`. Lanes that jam stop where they are.

    A lane goes on into its next segment at once, and as lanes come to the last end others start, so that steps stay
    well filled.
    """
    waiting = np.flatnonzero(course.after[0] < len(course.segments))
    size = 1.0 / options.steps if options.steps else FIRST_STEP
    if waiting.size <= FEW and len(lanes.axes) == 1:
        with np.errstate(over="ignore", invalid="ignore"):
            for index in waiting.tolist():
                start(lanes if trail.place.size == 1 else take(lanes, [index]), course, trail, index, options)
        return
    patience = PATIENCE * len(course.segments) * (1 + waiting.size // WIDTH)
    pool, waiting = Pool.start(trail, course, waiting[:WIDTH], size), waiting[WIDTH:]
    here, desk, piece = _own(lanes, course, pool)
    left = pool.index.size
    with np.errstate(over="ignore", invalid="ignore"):
        for _ in range(patience):
            if left < pool.index.size and left <= max(FEW, KEPT * pool.index.size):
                pool = pool.take(np.flatnonzero(~pool.over))
                if waiting.size:
                    pool = pool.join(Pool.start(trail, course, waiting[: WIDTH - left], size))
                    waiting = waiting[WIDTH - left :]
                here, desk, piece = _own(lanes, course, pool)
                left = pool.index.size
            if left == 0:
                return
            if left <= FEW and len(piece.profiles) == 1 and not pool.ended.any():
                _one_by_one(here, course, trail, pool, options)
                return
            ended = np.flatnonzero(pool.ended)
            slip, place = _together(here, piece, pool, desk, options)
            if ended.size:
                pool.note(trail, ended, slip, place)
                pool.move_on(course, ended, size)
                piece = course.at(pool.number, pool.index)
                left = pool.index.size - int(np.count_nonzero(pool.over))
    raise StagerError("a contact did not come to its end within the allowed number of steps")


def _own(lanes: Lanes, course: Course, pool: Pool) -> tuple[Lanes, Desk, Segment]:
    """What belongs to the lanes of the pool, in their order."""

    def own(array: Floats) -> Floats:
        return bare(array) if array.shape[-1] == 1 else array[..., pool.index]

    return each(lanes, own), Desk(lanes.sides.rows, pool.index.size), course.at(pool.number, pool.index)


def _together(lanes: Lanes, segment: Segment, pool: Pool, desk: Desk, options: Options) -> tuple[Floats, Floats]:
    """One step of all lanes in the pool; slips and places [m] where it began. Who has ended or is over stays there."""
    size = _END - pool.place
    np.minimum(size, pool.size, out=size)
    way = places(lanes, segment, pool.place + _AHEAD * size)
    now = slopes(lanes, way[0].pressing, pool.state)
    pool.watch(now)
    stepped = step(lanes, segment, [*way, way[-1]], now, pool.state, size, desk)
    accepted = _judge(lanes, pool, stepped, size, options)
    pool.thrust = np.where(accepted, np.fmax(pool.thrust, stepped.thrust), pool.thrust)
    pool.slip_power = np.where(accepted, np.fmax(pool.slip_power, stepped.power), pool.slip_power)
    pool.state = np.where(accepted, stepped.fresh, pool.state)
    pool.place = np.where(accepted, pool.place + size, pool.place)
    arrived = pool.place >= ARRIVED
    pool.place[arrived] = 1.0
    pool.ended = arrived | pool.jammed
    pool.ended &= ~pool.over
    return now.slip, way[0].place


def _judge(lanes: Lanes, pool: Pool, stepped: Stepped, size: Floats, options: Options) -> NDArray[np.bool_]:
    """Whose step is good; sets the next size, and who has jammed. A step is not longer right after one that failed."""
    scale = np.maximum(pool.state[0], lanes.sides.top)
    moves: NDArray[np.bool_] = stepped.fresh[0] > scale * FLOOR
    stopped = None if moves.all() else ~moves
    good = moves
    if options.steps is None:
        ratio = _ratio(lanes, pool.state[0], stepped.error, scale)
        ratio /= options.tolerance
        good = moves & (ratio <= _END)
        factor = np.minimum(growths(ratio), np.where(good, pool.most, _SHRINK))
        if stopped is not None:
            factor[stopped] = 0.25
        pool.most = np.where(good, np.inf, _END)
        pool.size = size * factor
    if stopped is not None:
        pool.jammed |= stopped & (size <= LEAST_STEP) if options.steps is None else stopped
        pool.size[pool.jammed] = 0.0
    return good


def _ratio(lanes: Lanes, speed: Floats, error: Floats, scale: Floats) -> Floats:
    """Local error as a share of what speeds are judged by, `scale` [m/s]; shapes (lanes,)."""
    ratio: Floats = error[0] * speed
    ratio *= 2.0
    ratio /= speed * speed + 0.01 * (scale * scale)
    for row in error[lanes.sides.wheels]:
        np.maximum(ratio, row / scale, out=ratio)
    if lanes.sides.turns:
        np.maximum(ratio, lanes.radius * error[1] / scale, out=ratio)
    return ratio


def _one_by_one(lanes: Lanes, course: Course, trail: Trail, pool: Pool, options: Options) -> None:
    """Hand the last lanes over to plain numbers."""
    for k in np.flatnonzero(~pool.over).tolist():
        finish(take(lanes, [k]), course, trail, pool, k, options)

"""Steps along one segment, each lane at its own pace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.hardware.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.alone_march import Seen, finish
from stager.physics.transit.drift import segment_drift
from stager.physics.transit.equations import Lanes, Slopes, over_sides, slopes
from stager.physics.transit.lanes import take
from stager.physics.transit.rosenbrock import Rate, step
from stager.physics.transit.segment import FIRST_STEP, FLOOR, LEAST_STEP, PATIENCE, Segment, growths

FEW = 6
"""As many lanes as plain numbers do faster than arrays."""


@dataclass(slots=True)
class Journey:
    """State on the way, shape (rows, lanes), and what is watched.

    jammed; place where the last segment ended or the lane stopped [m]; peak_acceleration [m/s^2] and peak_slip_power
    [W] since it was last cleared, each shape (lanes,);
    least_slip: least |s| of each side in contact [m/s], shape (sides, lanes).
    """

    state: Floats
    jammed: NDArray[np.bool_]
    place: Floats
    peak_acceleration: Floats
    peak_slip_power: Floats
    least_slip: Floats
    last_slip: Floats


def march(lanes: Lanes, segment: Segment, journey: Journey, options: Options) -> None:
    """Advance `journey` through `segment`, in place. Lanes that jam stop where they are."""
    index = np.flatnonzero(~journey.jammed & (np.broadcast_to(segment.span, journey.jammed.shape) > 0.0))
    place = np.zeros(index.size)
    size = np.full(index.size, 1.0 / options.steps if options.steps else FIRST_STEP)
    here, piece = take(lanes, index), take(segment, index)
    state = journey.state[:, index]
    for _ in range(PATIENCE):
        if index.size == 0:
            return
        if index.size <= FEW and len(segment.profiles) == 1:
            _one_by_one(here, piece, journey, index, state, place, size, options)
            return
        rate = _rate(here, piece, steep=False)
        size = np.minimum(size, 1.0 - place)
        now, stretch = _rate(here, piece, steep=True)(place, state)
        _watch(journey, index, now, here)
        drift = segment_drift(here, piece, place, state, now, stretch)
        with np.errstate(over="ignore", invalid="ignore"):
            fresh, error = step(here, rate, now, stretch, drift, state, place, size)
        accepted, jams, size_next = _judge(here, state, fresh, error, size, options)
        state = np.where(accepted, fresh, state)
        place = np.where(accepted, place + size, place)
        done = accepted & (place >= 1.0 - 1e-12)
        leaving = done | jams
        if leaving.any():
            out = index[leaving]
            journey.jammed[index[jams]] = True
            journey.state[:, out] = state[:, leaving]
            journey.place[out] = piece.at(place)[0][leaving]
            if done.any():
                _watch(journey, index[done], rate(place, state)[0], here, done)
            keep = np.flatnonzero(~leaving)
            index, state, place, size_next = index[keep], state[:, keep], place[keep], size_next[keep]
            here, piece = take(here, keep), take(piece, keep)
        size = size_next
    raise StagerError("a contact did not come to its end within the allowed number of steps")


def _one_by_one(
    lanes: Lanes, segment: Segment, journey: Journey, index: NDArray[np.intp], state: Floats, place: Floats,
    size: Floats, options: Options,
) -> None:  # fmt: skip
    """Hand the last lanes over to plain numbers."""
    for k, lane in enumerate(index):
        only = np.array([k])
        seen = Seen(
            float(journey.peak_acceleration[lane]), float(journey.peak_slip_power[lane]),
            journey.least_slip[:, lane].tolist(), journey.last_slip[:, lane].tolist(),
        )  # fmt: skip
        own, piece = take(lanes, only), take(segment, only)
        end, at, jammed = finish(own, piece, state[:, k].tolist(), float(place[k]), float(size[k]), seen, options)
        journey.state[:, lane] = end
        journey.jammed[lane] = jammed
        journey.place[lane] = piece.at(np.array([at]))[0][0]
        journey.peak_acceleration[lane], journey.peak_slip_power[lane] = seen.acceleration, seen.slip_power
        journey.least_slip[:, lane], journey.last_slip[:, lane] = seen.least, seen.last


def _rate(lanes: Lanes, segment: Segment, *, steep: bool) -> Rate:
    def rate(parameter: Floats, state: Floats) -> tuple[Slopes, Floats]:
        place, stretch = segment.at(parameter)
        return slopes(lanes, segment.profiles, place, state, steep=steep), stretch

    return rate


def _judge(
    lanes: Lanes, state: Floats, fresh: Floats, error: Floats, size: Floats, options: Options
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Floats]:
    """Accepted, jammed and next step size, each shape (lanes,)."""
    count = len(lanes.sides.laws)
    top = np.maximum(state[0], (lanes.sides.set_speed**2).max(axis=0))
    speed = np.sqrt(top)
    ratio = error[0] / (state[0] + 0.01 * top)
    ratio = np.maximum(ratio, lanes.radius * error[1] / speed)
    ratio = np.maximum(ratio, (error[2 : 2 + count] / speed).max(axis=0)) / options.tolerance
    stopped = ~(fresh[0] > FLOOR * top)
    if options.steps:
        return ~stopped, stopped, size
    good = (ratio <= 1.0) & ~stopped
    jams = stopped & (size <= LEAST_STEP)
    factor = growths(ratio)
    factor = np.where(stopped, 0.25, np.where(good, factor, np.minimum(factor, 0.8)))
    return good, jams, size * factor


def _watch(
    journey: Journey, index: NDArray[np.intp], now: Slopes, lanes: Lanes, chosen: NDArray[np.bool_] | None = None
) -> None:
    pick = slice(None) if chosen is None else chosen
    heat = over_sides((lanes.sides.weights * now.force * now.slip)[:, pick])
    slip = now.slip[:, pick]
    journey.peak_acceleration[index] = np.maximum(journey.peak_acceleration[index], np.abs(now.rate[0][pick]) / 2)
    journey.peak_slip_power[index] = np.maximum(journey.peak_slip_power[index], heat)
    crossed = slip * journey.last_slip[:, index] < 0.0
    journey.least_slip[:, index] = np.minimum(journey.least_slip[:, index], np.where(crossed, 0.0, np.abs(slip)))
    journey.last_slip[:, index] = slip

"""Steps along one segment, each lane at its own pace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.hardware.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.equations import Lanes, Slopes, slopes
from stager.physics.transit.lanes import take
from stager.physics.transit.profile import Profile
from stager.physics.transit.rosenbrock import Rate, step

FIRST_STEP = 0.1
LEAST_STEP = 1e-4
FLOOR = 1e-10
PATIENCE = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A smooth piece of the way, from parameter `start` to `end`.

    curved: x = middle − half·cos(parameter), which makes powers of the crush smooth at its ends;
    else x = middle + half·parameter. Shapes (lanes,) or (1,); profiles: one a nip.
    """

    middle: Floats
    half: Floats
    start: float
    end: float
    curved: bool
    profiles: tuple[Profile, ...]

    def at(self, parameter: Floats) -> tuple[Floats, Floats]:
        """Place along the barrel [m] and its derivative by the parameter [m]."""
        if self.curved:
            return self.middle - self.half * np.cos(parameter), self.half * np.sin(parameter)
        return self.middle + self.half * parameter, np.broadcast_to(self.half, parameter.shape)


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
    index = np.flatnonzero(~journey.jammed & (np.broadcast_to(segment.half, journey.jammed.shape) > 0.0))
    span = segment.end - segment.start
    place = np.full(index.size, segment.start)
    size = np.full(index.size, span / options.steps if options.steps else span * FIRST_STEP)
    here, piece = take(lanes, index), take(segment, index)
    state = journey.state[:, index]
    for _ in range(PATIENCE):
        if index.size == 0:
            return
        rate = _rate(here, piece)
        size = np.minimum(size, segment.end - place)
        now, stretch = rate(place, state)
        _watch(journey, index, now, here)
        nudge = 1e-7 * span
        drift = (np.multiply(*_scaled(rate(place + nudge, state))) - now.rate * stretch) / nudge
        with np.errstate(over="ignore", invalid="ignore"):
            fresh, error = step(here, rate, now, stretch, drift, state, place, size)
        accepted, jams, size_next = _judge(here, state, fresh, error, size, span, options)
        state = np.where(accepted, fresh, state)
        place = np.where(accepted, place + size, place)
        done = accepted & (place >= segment.end - 1e-12 * span)
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


def _rate(lanes: Lanes, segment: Segment) -> Rate:
    def rate(parameter: Floats, state: Floats) -> tuple[Slopes, Floats]:
        place, stretch = segment.at(parameter)
        return slopes(lanes, segment.profiles, place, state), stretch

    return rate


def _scaled(pair: tuple[Slopes, Floats]) -> tuple[Floats, Floats]:
    return pair[0].rate, pair[1]


def _judge(
    lanes: Lanes, state: Floats, fresh: Floats, error: Floats, size: Floats, span: float, options: Options
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
    jams = stopped & (size <= LEAST_STEP * span)
    factor = np.clip(0.9 * np.maximum(np.nan_to_num(ratio, nan=1e8), 1e-8) ** -0.25, 0.2, 5.0)
    factor = np.where(stopped, 0.25, np.where(good, factor, np.minimum(factor, 0.8)))
    return good, jams, size * factor


def _watch(
    journey: Journey, index: NDArray[np.intp], now: Slopes, lanes: Lanes, chosen: NDArray[np.bool_] | None = None
) -> None:
    pick = slice(None) if chosen is None else chosen
    weight = np.array(lanes.sides.weight)[:, None]
    heat = (weight * now.force * now.slip)[:, pick].sum(axis=0)
    slip = now.slip[:, pick]
    journey.peak_acceleration[index] = np.maximum(journey.peak_acceleration[index], np.abs(now.rate[0][pick]) / 2)
    journey.peak_slip_power[index] = np.maximum(journey.peak_slip_power[index], heat)
    crossed = slip * journey.last_slip[:, index] < 0.0
    journey.least_slip[:, index] = np.minimum(journey.least_slip[:, index], np.where(crossed, 0.0, np.abs(slip)))
    journey.last_slip[:, index] = slip

"""A single lane along the rest of a segment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from stager.errors import StagerError
from stager.physics.options import Options
from stager.physics.transit.alone import Now, Single, one
from stager.physics.transit.alone_step import judge, step
from stager.physics.transit.equations import Lanes
from stager.physics.transit.segment import LEAST_STEP, PATIENCE, Segment, growth


@dataclass(slots=True)
class Seen:
    """What is watched, as in Journey, of one lane."""

    acceleration: float
    slip_power: float
    least: list[float]
    last: list[float]

    def look(self, single: Single, now: Now) -> None:
        """Take in one place."""
        self.peaks(single, now)
        for k, slip in enumerate(now.slips):
            self.least[k] = min(self.least[k], 0.0 if slip * self.last[k] < 0.0 else abs(slip))
            self.last[k] = slip

    def peaks(self, single: Single, now: Now) -> None:
        """Take in the peaks alone."""
        power = 0.0
        for k, side in enumerate(single.sides):
            power += side.weight * now.forces[k] * now.slips[k]
        self.acceleration = max(self.acceleration, abs(now.rate[0] * now.speed))
        self.slip_power = max(self.slip_power, power)


class Start(NamedTuple):
    """Where a lane starts: its state, the parameter, the next step, and whether a step has just failed."""

    state: list[float]
    place: float
    size: float
    held: bool


def finish(
    lanes: Lanes, segment: Segment, start: Start, seen: Seen, options: Options
) -> tuple[list[float], float, bool]:
    """State at the end of the segment or where the lane jams, its parameter there, and whether it jammed.

    lanes, segment: of this lane alone, in one nip.
    """
    state, place, size, held = start
    single = Single(lanes, segment.profiles[0])
    low, span = one(segment.low), one(segment.span)
    at, bend = segment.bend.at, segment.bend.curvature * span

    def rate(parameter: float, state: list[float]) -> tuple[Now, float]:
        place, stretch = at(low, span, parameter)
        return single.now(place, state, steep=False), stretch

    for _ in range(PATIENCE):
        size = min(size, 1.0 - place)
        where, stretch = at(low, span, place)
        now = single.now(where, state, steep=True)
        seen.look(single, now)
        change = single.drift(where, now)
        drift = [stretch * stretch * a + bend * b for a, b in zip(change, now.rate, strict=True)]
        fresh, error, inside = step(single, rate, now, stretch, drift, state, place, size)
        stopped, ratio = judge(single, state, fresh, error, options.tolerance)
        hold, held = held, True
        if stopped:
            if options.steps or size <= LEAST_STEP:
                return state, place, True
            size *= 0.25
            continue
        if options.steps is None and not ratio <= 1.0:
            size *= min(growth(ratio), 0.8)
            continue
        state, place, held = fresh, place + size, False
        for within in inside:
            seen.peaks(single, within)
        if place >= 1.0 - 1e-12:
            seen.look(single, rate(place, state)[0])
            return state, place, False
        if options.steps is None:
            size *= min(growth(ratio), 1.0) if hold else growth(ratio)
    raise StagerError("a contact did not come to its end within the allowed number of steps")

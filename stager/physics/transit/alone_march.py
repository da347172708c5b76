"""A single lane along the rest of a segment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from stager.errors import StagerError
from stager.physics.options import Options
from stager.physics.transit.alone import Alone, Look, judge
from stager.physics.transit.alone_mirrored import Mirrored
from stager.physics.transit.alone_sided import Sided
from stager.physics.transit.equations import Lanes
from stager.physics.transit.segment import LEAST_STEP, PATIENCE, Segment, growth


@dataclass(slots=True)
class Seen:
    """What is watched, as in Journey, of one lane."""

    acceleration: float
    slip_power: float
    least: list[float]
    last: list[float]

    def look(self, look: Look) -> None:
        """Take in one place."""
        self.peaks(look.acceleration, look.slip_power)
        for k, slip in enumerate(look.slips):
            self.least[k] = min(self.least[k], 0.0 if slip * self.last[k] < 0.0 else abs(slip))
            self.last[k] = slip

    def peaks(self, acceleration: float, slip_power: float) -> None:
        """Take in the peaks alone."""
        self.acceleration = max(self.acceleration, acceleration)
        self.slip_power = max(self.slip_power, slip_power)


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
    even = len(lanes.sides.laws) == 1 and not lanes.sides.turns
    alone: Alone = Mirrored(lanes, segment) if even else Sided(lanes, segment)
    for _ in range(PATIENCE):
        size = min(size, 1.0 - place)
        here, fresh, error, inside = alone.step(state, place, size)
        seen.look(here)
        stopped, ratio = judge(alone, state, fresh, error, options.tolerance)
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
        seen.peaks(*inside)
        if place >= 1.0 - 1e-12:
            seen.look(alone.look(place, state))
            return state, place, False
        if options.steps is None:
            size *= min(growth(ratio), 1.0) if hold else growth(ratio)
    raise StagerError("a contact did not come to its end within the allowed number of steps")

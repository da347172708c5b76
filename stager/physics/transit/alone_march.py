"""A single lane along the rest of its way."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stager.errors import StagerError
from stager.physics.options import Options
from stager.physics.transit.alone import Alone, Look, judge
from stager.physics.transit.alone_mirrored import Mirrored
from stager.physics.transit.alone_sided import Sided
from stager.physics.transit.course import Course
from stager.physics.transit.equations import Lanes
from stager.physics.transit.pool import Pool
from stager.physics.transit.segment import ARRIVED, FIRST_STEP, LEAST_STEP, PATIENCE, growth
from stager.physics.transit.trail import Trail


@dataclass(slots=True)
class Lane:
    """A lane in a segment; fields as in Pool."""

    state: list[float]
    size: float
    place: float = 0.0
    held: bool = False
    jammed: bool = False
    thrust: float = 0.0
    slip_power: float = 0.0
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    slips: tuple[float, ...] = ()

    def watch(self, look: Look) -> None:
        """Take in one place."""
        self.peaks(look.thrust, look.power)
        self.slips = look.slips
        self.low = [min(pair) for pair in zip(self.low, look.slips, strict=True)] if self.low else list(look.slips)
        self.high = [max(pair) for pair in zip(self.high, look.slips, strict=True)] if self.high else list(look.slips)

    def peaks(self, thrust: float, power: float) -> None:
        """Take in the peaks alone, |thrust| [N] and slip power [W]."""
        self.thrust, self.slip_power = max(self.thrust, thrust), max(self.slip_power, power)


def finish(lanes: Lanes, course: Course, trail: Trail, pool: Pool, options: Options) -> None:
    """Take the one lane of `pool` through the rest of its segments. lanes: of this lane alone, in one nip."""
    even = len(lanes.sides.laws) == 1 and not lanes.sides.turns
    index, number = int(pool.index[0]), int(pool.number[0])
    lane = Lane(
        pool.state[:, 0].tolist(), float(pool.size[0]), float(pool.place[0]), float(pool.most[0]) == 1.0,
        thrust=float(pool.thrust[0]), slip_power=float(pool.slip_power[0]), low=pool.low_slip[:, 0].tolist(),
        high=pool.high_slip[:, 0].tolist(),
    )  # fmt: skip
    while True:
        segment = course.at(np.array([number]), pool.index)
        alone: Alone = Mirrored(lanes, segment) if even else Sided(lanes, segment)
        _along(alone, lane, options)
        trail.state[number + 1, :, index], trail.jammed[number + 1, index] = lane.state, lane.jammed
        trail.thrust[number, index], trail.slip_power[number, index] = lane.thrust, lane.slip_power
        trail.least_slip[number, :, index] = [
            max(low, -high, 0.0) for low, high in zip(lane.low, lane.high, strict=True)
        ]
        trail.exit_slip[number, :, index], trail.place[index] = lane.slips, alone.at(lane.place)[0]
        number = int(course.after[number + 1, index])
        if lane.jammed or number == len(course.segments):
            return
        lane = Lane(lane.state, 1.0 / options.steps if options.steps else FIRST_STEP)


def _along(alone: Alone, lane: Lane, options: Options) -> None:
    """To the end of the segment, or to where the lane jams."""
    for _ in range(PATIENCE):
        size = min(lane.size, 1.0 - lane.place)
        stepped = alone.step(lane.state, lane.place, size)
        lane.watch(stepped.here)
        stopped, ratio = judge(alone, lane.state, stepped, options.tolerance)
        hold, lane.held = lane.held, True
        if stopped:
            if options.steps or size <= LEAST_STEP:
                lane.jammed = True
                return
            lane.size = size * 0.25
            continue
        if options.steps is None and not ratio <= 1.0:
            lane.size = size * min(growth(ratio), 0.8)
            continue
        lane.state, lane.place, lane.held = stepped.fresh, lane.place + size, False
        lane.peaks(*stepped.inside)
        if lane.place >= ARRIVED:
            lane.place = 1.0
            lane.watch(alone.look(lane.place, lane.state))
            return
        if options.steps is None:
            lane.size = size * (min(growth(ratio), 1.0) if hold else growth(ratio))
    raise StagerError("a contact did not come to its end within the allowed number of steps")

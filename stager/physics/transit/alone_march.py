"""A single lane along the rest of its way."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from stager.errors import StagerError
from stager.physics.options import Options
from stager.physics.transit.alone import Alone, Look, evaluate
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
    low_a: float = inf
    low_b: float = inf
    high_a: float = -inf
    high_b: float = -inf
    slip_a: float = 0.0
    slip_b: float = 0.0

    def watch(self, look: Look) -> None:
        """Take in one place."""
        thrust, power, slip_a, slip_b = look
        self.peaks(thrust, power)
        self.slip_a, self.slip_b = slip_a, slip_b
        if slip_a < self.low_a:
            self.low_a = slip_a
        if slip_a > self.high_a:
            self.high_a = slip_a
        if slip_b < self.low_b:
            self.low_b = slip_b
        if slip_b > self.high_b:
            self.high_b = slip_b

    def least(self) -> tuple[float, float]:
        """Least |s| of each side."""
        return max(self.low_a, -self.high_a, 0.0), max(self.low_b, -self.high_b, 0.0)

    def peaks(self, thrust: float, power: float) -> None:
        """Take in the peaks alone, |thrust| [N] and slip power [W]."""
        if thrust > self.thrust:
            self.thrust = thrust
        if power > self.slip_power:
            self.slip_power = power


def start(lanes: Lanes, course: Course, trail: Trail, index: int, options: Options) -> None:
    """Take lane `index` of `trail` through all its segments. lanes: of this lane alone, in one nip."""
    lane = Lane(trail.state[0, :, index].tolist(), _first(options))
    _segments(lanes, course, trail, index, int(course.after[0, index]), lane, options)


def finish(lanes: Lanes, course: Course, trail: Trail, pool: Pool, at: int, options: Options) -> None:
    """Take the lane at `at` in `pool` through the rest of its segments. lanes: of this lane alone, in one nip."""
    low, high = pool.low_slip[:, at], pool.high_slip[:, at]
    lane = Lane(
        pool.state[:, at].tolist(), float(pool.size[at]), float(pool.place[at]), float(pool.most[at]) == 1.0,
        thrust=float(pool.thrust[at]), slip_power=float(pool.slip_power[at]), low_a=float(low[0]),
        low_b=float(low[-1]), high_a=float(high[0]), high_b=float(high[-1]),
    )  # fmt: skip
    _segments(lanes, course, trail, int(pool.index[at]), int(pool.number[at]), lane, options)


def _first(options: Options) -> float:
    return 1.0 / options.steps if options.steps else FIRST_STEP


def _segments(
    lanes: Lanes, course: Course, trail: Trail, index: int, number: int, lane: Lane, options: Options
) -> None:
    """From segment `number` on."""
    sides = len(lanes.sides.laws)
    alone: Alone = Mirrored(lanes) if sides == 1 and not lanes.sides.turns else Sided(lanes)
    while number < len(course.segments):
        alone.enter(course.alone(number, index))
        _along(alone, lane, options)
        trail.state[number + 1, :, index], trail.jammed[number + 1, index] = lane.state, lane.jammed
        trail.thrust[number, index], trail.slip_power[number, index] = lane.thrust, lane.slip_power
        trail.least_slip[number, :, index] = lane.least()[:sides]
        trail.exit_slip[number, :, index] = (lane.slip_a, lane.slip_b)[:sides]
        trail.place[index] = alone.at(lane.place)[0]
        if lane.jammed:
            return
        number = int(course.after[number + 1, index])
        lane = Lane(lane.state, _first(options))


def _along(alone: Alone, lane: Lane, options: Options) -> None:
    """To the end of the segment, or to where the lane jams."""
    steps, tolerance, adapts = options.steps, options.tolerance, options.steps is None
    for _ in range(PATIENCE):
        size = 1.0 - lane.place
        if lane.size < size:
            size = lane.size
        here, fresh, error, (thrust, power) = alone.step(lane.state, lane.place, size)
        lane.watch(here)
        stopped, ratio = evaluate(alone, lane.state[0], fresh[0], error, tolerance)
        hold, lane.held = lane.held, True
        if stopped:
            if steps or size <= LEAST_STEP:
                lane.jammed = True
                return
            lane.size = size * 0.25
            continue
        if adapts and not ratio <= 1.0:
            lane.size = size * min(growth(ratio), 0.8)
            continue
        lane.state, lane.place, lane.held = fresh, lane.place + size, False
        lane.peaks(thrust, power)
        if lane.place >= ARRIVED:
            lane.place = 1.0
            lane.watch(alone.look(lane.place, lane.state))
            return
        if adapts:
            lane.size = size * (min(growth(ratio), 1.0) if hold else growth(ratio))
    raise StagerError("a contact did not come to its end within the allowed number of steps")

"""Steps of a single lane in plain numbers: the linear solve, the method and the error control of a batch."""

from __future__ import annotations

from typing import NamedTuple, Protocol

from stager.physics.transit.alone import Now, Single, one
from stager.physics.transit.equations import Lanes
from stager.physics.transit.rosenbrock import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE
from stager.physics.transit.segment import FLOOR, STILL, Segment


class Look(NamedTuple):
    """What is watched of a contact: acceleration [m/s^2], slip power [W], slip of each side [m/s]."""

    acceleration: float
    slip_power: float
    slips: tuple[float, ...]


class Stepped(NamedTuple):
    """A step that was tried: what was seen where it began, new state, local error, and the greatest acceleration and
    slip power inside."""

    here: Look
    fresh: list[float]
    error: list[float]
    inside: tuple[float, float]


class Alone(Protocol):
    """A single lane in a segment."""

    count: int
    radius: float
    top: float

    def look(self, place: float, state: list[float]) -> Look:
        """What is watched at a parameter of the segment."""
        ...

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """One step, `size` long, from the parameter `place`."""
        ...


class Sided:
    """One lane in one nip whose sides differ; see `Single`."""

    def __init__(self, lanes: Lanes, segment: Segment) -> None:
        self.single, self.bend = Single(lanes, segment.profiles[0]), segment.bend
        self.low, self.span = one(segment.low), one(segment.span)
        self.count, self.radius, self.top = self.single.count, self.single.radius, self.single.top

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        return self._seen(self._rate(place, state)[0])

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone."""
        single, reach = self.single, GAMMA * size
        where, stretch = self.bend.at(self.low, self.span, place)
        now = single.now(where, state, steep=True)
        bend = self.bend.curvature * self.span
        change = zip(single.drift(where, now), now.rate, strict=True)
        drift = [reach * size * (stretch * stretch * a + bend * b) for a, b in change]
        implicit = Implicit(single, now, reach * stretch)
        known = [reach * stretch * value + DRIFT[0] * part for value, part in zip(now.rate, drift, strict=True)]
        parts = [implicit.solve(known)]
        inside = []
        inner = state
        for number in range(1, 6):
            inner = mix((1.0,), parts[4:], inner) if number == 5 else mix(STATE[number], parts, state)
            later, stretch = self._rate(place + PLACE[number] * size, inner)
            inside.append(later)
            factor, pull = reach * stretch, DRIFT[number]
            known = [factor * value + pull * part for value, part in zip(later.rate, drift, strict=True)]
            parts.append(implicit.solve(mix(SCALED_KNOWN[number], parts, known)))
        fresh = [a + b for a, b in zip(inner, parts[5], strict=True)]
        seen = [self._seen(later) for later in inside[:INSIDE]]
        peaks = max(look.acceleration for look in seen), max(look.slip_power for look in seen)
        return Stepped(self._seen(now), fresh, [abs(part) for part in parts[5]], peaks)

    def _rate(self, parameter: float, state: list[float]) -> tuple[Now, float]:
        place, stretch = self.bend.at(self.low, self.span, parameter)
        return self.single.now(place, state, steep=False), stretch

    def _seen(self, now: Now) -> Look:
        power = 0.0
        for side, force, slip in zip(self.single.sides, now.forces, now.slips, strict=True):
            power += side.weight * force * slip
        return Look(abs(now.rate[0] * now.speed), power, tuple(now.slips))




class Implicit:
    """Solves (1 − t·J) U = ρ; see the batch's own."""

    def __init__(self, single: Single, now: Now, reach: float) -> None:
        self.single, self.now, self.reach = single, now, reach
        speed, rate, r = now.speed, now.rate, single.radius
        self.spin_gain = reach * r * single.inverse_spin_inertia / speed
        self.slowing = 1.0 / (1.0 + reach * rate[0] / speed)
        self.spin_by_speed = reach * rate[1] / speed
        self.damping, self.wheel_gain, self.wheel_by_speed, self.speed_gain, self.slip_by_speed = [], [], [], [], []
        for k, side in enumerate(single.sides):
            per_speed = side.gain / speed
            damping = 1.0 / (1.0 - reach * per_speed * now.torque_slopes[k])
            by_speed = damping * reach * rate[2 + k] / speed
            self.damping.append(damping)
            self.wheel_gain.append(damping * reach * per_speed * side.radius)
            self.wheel_by_speed.append(by_speed)
            self.speed_gain.append(side.weight * now.cosines[k] * (self.slowing * reach / (single.mass * speed)))
            self.slip_by_speed.append(-(by_speed + now.cosines[k]) + side.turn * (r * self.spin_by_speed))
        self.system = [[self._term(i, k) for k in range(single.count)] for i in range(single.count)]

    def _term(self, i: int, k: int) -> float:
        single, now = self.single, self.now
        a, b = single.sides[i], single.sides[k]
        term = self.slip_by_speed[i] * self.speed_gain[k] - a.turn * b.turn * b.weight * single.radius * self.spin_gain
        if i == k:
            return 1.0 - now.steepness[i] * (term - self.wheel_gain[i])
        coupled = now.coupling if single.rail and i == 1 else 0.0
        return -now.steepness[i] * term - coupled

    def solve(self, known: list[float]) -> list[float]:
        """Increments U for the right side `known`."""
        single, now, count = self.single, self.now, self.single.count
        speed = known[0] * self.slowing
        around = single.radius * known[1]
        wheels = [self.damping[k] * known[2 + k] for k in range(count)]
        right = [
            now.steepness[k] * (wheels[k] + self.slip_by_speed[k] * speed - single.sides[k].turn * around)
            for k in range(count)
        ]
        if count == 1:
            forces = [right[0] / self.system[0][0]]
        else:
            (a, b), (c, d) = self.system
            determinant = a * d - b * c
            forces = [(d * right[0] - b * right[1]) / determinant, (a * right[1] - c * right[0]) / determinant]
        faster, turning = 0.0, 0.0
        for k, side in enumerate(single.sides):
            faster += self.speed_gain[k] * forces[k]
            turning += side.turn * side.weight * forces[k]
        speed += faster
        spin = known[1]
        if single.turns:
            spin += self.spin_gain * turning - self.spin_by_speed * speed
        out = [speed, spin]
        out += [wheels[k] - self.wheel_by_speed[k] * speed - self.wheel_gain[k] * forces[k] for k in range(count)]
        if single.books:
            self._books(known, out, speed, forces)
        return out

    def _books(self, known: list[float], out: list[float], speed: float, forces: list[float]) -> None:
        single, now, count = self.single, self.now, self.single.count
        scale = self.reach / now.speed
        lost = scale * speed
        rate, around = now.rate, single.radius * out[1]
        works, heats = [], []
        for k, side in enumerate(single.sides):
            wheel = out[2 + k]
            slip = wheel - now.cosines[k] * speed - side.turn * around
            work = scale * (forces[k] * now.wheels[k] + now.forces[k] * wheel)
            works.append(known[3 + count + k] - rate[3 + count + k] * lost + work)
            heats.append(
                known[3 + 2 * count + k] - rate[3 + 2 * count + k] * lost
                + scale * (forces[k] * now.slips[k] + now.forces[k] * slip)
            )  # fmt: skip
        out.append(known[2 + count] - rate[2 + count] * lost)
        out += works
        out += heats


def mix(weights: tuple[float, ...], parts: list[list[float]], start: list[float]) -> list[float]:
    """start + Σ weight·part, added up in the order of the batch's own."""
    if not weights:
        return start
    if len(weights) == 1:
        (a,) = weights
        return [s + a * p for s, p in zip(start, *parts, strict=True)]
    if len(weights) == 2:
        a, b = weights
        return [s + a * p + b * q for s, p, q in zip(start, *parts, strict=True)]
    if len(weights) == 3:
        a, b, c = weights
        return [s + a * p + b * q + c * r for s, p, q, r in zip(start, *parts, strict=True)]
    total = mix(weights[:3], parts[:3], start)
    return mix(weights[3:], parts[3:], total)


def judge(
    single: Alone, state: list[float], fresh: list[float], error: list[float], tolerance: float
) -> tuple[bool, float]:
    """Whether the projectile has stopped, and the local error as a share of what is allowed; as the batch's."""
    speed = max(state[0], single.top, STILL)
    squares = 2.0 * state[0] * error[0] / (state[0] * state[0] + 0.01 * (speed * speed))
    ratio = max(squares, single.radius * error[1] / speed, max(error[2 : 2 + single.count]) / speed)
    return not fresh[0] > FLOOR * speed, ratio / tolerance

"""A single lane between two equal sides, in plain numbers: one side stands for both, and nothing turns.

The same equations and method as `alone` and the batch, without loops over sides: this is the contact most often asked
for, one throw at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import one
from stager.physics.transit.alone_step import Look, Stepped, mix
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.rosenbrock import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE
from stager.physics.transit.segment import Segment

_STAGES = tuple(zip(STATE, SCALED_KNOWN, PLACE, DRIFT, strict=True))


class Contact(NamedTuple):
    """Right side at one place, dv/dx and du/dx, and what it is made of; as Now."""

    faster: float
    wheel: float
    speed: float
    slip: float
    force: float
    traction: float
    coefficient: float
    slope: float
    creeping: float
    normal: float
    cosine: float
    torque_slope: float


class Stage(NamedTuple):
    """A stage of a step, for the books: reach of the step times dx/dparameter there, contact, speed u of the wheels,
    and the increments of v, u and the force."""

    reach: float
    contact: Contact
    at: float
    faster: float
    wheel: float
    force: float


class Mirrored:
    """One lane of `lanes` in the one nip of `segment`."""

    def __init__(self, lanes: Lanes, segment: Segment) -> None:
        sides = lanes.sides
        self.books, self.count = lanes.books, 1
        self.low, self.span, self.bend = one(segment.low), one(segment.span), segment.bend
        (self.normal, self.change), self.axis = segment.profiles[0].alone(), one(lanes.axes[0])
        self.law, self.weight, self.creep = coefficient_at(sides.laws[0]), sides.weight[0], one(sides.creep)
        self.mass, self.radius = one(lanes.mass), one(lanes.radius)
        self.wheel_radius, self.top = one(sides.radius), one(sides.set_speed)
        self.gain = self.wheel_radius * one(sides.inverse_inertia)
        self.opposing = -self.wheel_radius * self.wheel_radius * one(sides.inverse_inertia)
        self.held_speed, self.motor_slope = one(sides.held_speed), one(sides.motor_slope)
        self.torque_low, self.torque_high = one(sides.torque_low), one(sides.torque_high)

    def contact(self, offset: float, v: float, u: float) -> Contact:
        """As `slopes`, `offset` past the axis plane [m] at speeds v of the projectile, u of the wheels [m/s]."""
        speed = max(v, LEAST_SPEED)
        normal, cosine, _, push = self.normal(offset)
        slip = u - speed * cosine
        coefficient, slope = self.law(-slip if slip < 0.0 else slip)
        creeping = tanh(slip / self.creep)
        traction = coefficient * creeping
        force = normal * traction
        moment, torque_slope = -self.wheel_radius * force, 0.0
        if self.motor_slope:
            asked = self.motor_slope * (self.held_speed - u)
            given = min(max(asked, self.torque_low), self.torque_high)
            moment += given
            torque_slope = -self.motor_slope if given == asked else 0.0
        faster = (push + force * self.weight * cosine) / (self.mass * speed)
        return Contact(
            faster, self.gain * moment / speed, speed, slip, force, traction, coefficient, slope, creeping, normal,
            cosine, torque_slope,
        )  # fmt: skip

    def look(self, place: float, state: list[float]) -> Look:
        """What is watched at a parameter of the segment."""
        offset = self.bend.at(self.low, self.span, place)[0] - self.axis
        return self._seen(self.contact(offset, state[0], state[2]))

    def _seen(self, now: Contact) -> Look:
        return Look(abs(now.faster * now.speed), self.weight * now.force * now.slip, (now.slip,))

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See `Alone`."""
        v, u, reach = state[0], state[2], GAMMA * size
        where, stretch = self.bend.at(self.low, self.span, place)
        now = self.contact(where - self.axis, v, u)
        steepness, drift = self._drift(where - self.axis, now, u, stretch, reach * size)
        drift_v, drift_u = drift[0], drift[1]
        solve = self._solver(now, steepness, reach * stretch)
        parts_v: list[float] = []
        parts_u: list[float] = []
        stages: list[Stage] = []
        for weights, mixes, ahead, pull in _STAGES:
            inner_v, inner_u, later, factor = v, u, now, reach * stretch
            if weights:
                for weight, a, b in zip(weights, parts_v, parts_u, strict=True):
                    inner_v += weight * a
                    inner_u += weight * b
                where, stretch = self.bend.at(self.low, self.span, place + ahead * size)
                later, factor = self.contact(where - self.axis, inner_v, inner_u), reach * stretch
            known_v, known_u = factor * later.faster + pull * drift_v, factor * later.wheel + pull * drift_u
            for weight, a, b in zip(mixes, parts_v, parts_u, strict=True):
                known_v += weight * a
                known_u += weight * b
            faster, wheel, force = solve(known_v, known_u)
            parts_v.append(faster)
            parts_u.append(wheel)
            stages.append(Stage(factor, later, inner_u, faster, wheel, force))
        fresh = [inner_v + faster, state[1], inner_u + wheel]
        if self.books:
            fresh += self._books(state[3:], stages, drift)
        inside = [self._seen(stage.contact) for stage in stages[1 : 1 + INSIDE]]
        return Stepped(self._seen(now), fresh, [abs(faster), 0.0, abs(wheel)], inside)

    def _solver(self, now: Contact, steepness: float, reach: float) -> Callable[[float, float], Increments]:
        """Solves (1 − t·J) U = ρ for the increments of v, u and the force; see `Implicit`."""
        speed, cosine = now.speed, now.cosine
        per_speed = self.gain / speed
        damping = 1.0 / (1.0 - reach * per_speed * now.torque_slope)
        wheel_gain = damping * reach * per_speed * self.wheel_radius
        wheel_by_speed = damping * reach * now.wheel / speed
        slowing = 1.0 / (1.0 + reach * now.faster / speed)
        speed_gain = self.weight * cosine * (slowing * reach / (self.mass * speed))
        slip_by_speed = -(wheel_by_speed + cosine)
        system = 1.0 - steepness * (slip_by_speed * speed_gain - wheel_gain)

        def solve(known_v: float, known_u: float) -> Increments:
            faster, wheel = known_v * slowing, damping * known_u
            force = steepness * (wheel + slip_by_speed * faster) / system
            faster += speed_gain * force
            return faster, wheel - wheel_by_speed * faster - wheel_gain * force, force

        return solve

    def _drift(
        self, offset: float, now: Contact, u: float, stretch: float, scale: float
    ) -> tuple[float, tuple[float, ...]]:
        """Slope of the force by slip, and the derivative of the right side by the parameter, times `scale`."""
        speed, bend = now.speed, self.bend.curvature * self.span
        normal, cosine, _, push = self.change(offset)
        inner = now.slope * abs(now.creeping) + now.coefficient * (1.0 - now.creeping * now.creeping) / self.creep
        steepness = now.normal * inner
        sliding = -speed * cosine
        force = normal * now.traction + steepness * sliding
        forward = force * self.weight * now.cosine + now.force * self.weight * cosine
        along = [(push + forward) / (self.mass * speed), self.opposing * force / speed]
        rate = [now.faster, now.wheel]
        if self.books:
            along += [0.0, force * u / speed, (force * now.slip + now.force * sliding) / speed]
            rate += _book_rates(now, u)
        return steepness, tuple(scale * (stretch * stretch * a + bend * b) for a, b in zip(along, rate, strict=True))

    def _books(self, start: list[float], stages: list[Stage], drift: tuple[float, ...]) -> list[float]:
        """Contact time, work and heat at the end of the step; see `Implicit._books`."""
        now, u = stages[0].contact, stages[0].at
        scale, rate = stages[0].reach / now.speed, _book_rates(now, u)
        parts: list[list[float]] = []
        for (_, mixes, _, pull), stage in zip(_STAGES, stages, strict=True):
            lost = scale * stage.faster
            slip = stage.wheel - now.cosine * stage.faster
            given = (
                0.0, scale * (stage.force * u + now.force * stage.wheel),
                scale * (stage.force * now.slip + now.force * slip),
            )  # fmt: skip
            later = _book_rates(stage.contact, stage.at)
            known = [stage.reach * value + pull * part for value, part in zip(later, drift[2:], strict=True)]
            known = mix(mixes, parts, known)
            parts.append([a - b * lost + c for a, b, c in zip(known, rate, given, strict=True)])
        inner = mix(_STAGES[5][0], parts[:5], start)
        return [a + b for a, b in zip(inner, parts[5], strict=True)]


Increments = tuple[float, float, float]


def _book_rates(contact: Contact, u: float) -> list[float]:
    per_metre = contact.force / contact.speed
    return [1.0 / contact.speed, per_metre * u, per_metre * contact.slip]

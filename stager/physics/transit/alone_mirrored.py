"""A single lane between two equal sides, in plain numbers: one side stands for both, and nothing turns.

The same equations and method as `alone` and the batch, without loops over sides: this is the contact most often asked
for, one throw at a time. Increments of v and u are the parts of one complex number, which halves the sums.
"""

from __future__ import annotations

from collections.abc import Callable

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import Look, Stepped, add_books, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.rosenbrock import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE
from stager.physics.transit.segment import Segment

Contact = tuple[float, float, float, float, float]
"""Right side at one place, dv/dx and du/dx; speed v, slip, force of one side."""
Made = tuple[float, float, float, float, float, float, float]
"""What a force is made of: normal, cos φ, friction coefficient and slope, creep's share, φ, slope of the torque."""
Stage = tuple[float, Contact, float, complex, float]
"""A stage of a step, for the books: reach times dx/dparameter, contact, u of the wheels, increments of v and u, of
the force."""
Solve = Callable[[complex], tuple[complex, float]]

_LATER = tuple(zip(STATE, SCALED_KNOWN, PLACE, DRIFT, strict=True))[1:]


class Mirrored:
    """One lane of `lanes` in the one nip of `segment`; see Alone."""

    count = 1

    def __init__(self, lanes: Lanes, segment: Segment) -> None:
        sides = lanes.sides
        self.books = lanes.books
        self.low, self.span, self.at = one(segment.low), one(segment.span), segment.bend.at
        self.curvature = segment.bend.curvature * self.span
        (self.normal, self.change), self.axis = segment.profiles[0].alone(), one(lanes.axes[0])
        self.law, self.weight, self.creep = coefficient_at(sides.laws[0]), sides.weight[0], one(sides.creep)
        self.mass, self.radius = one(lanes.mass), one(lanes.radius)
        self.wheel_radius, self.top = one(sides.radius), one(sides.set_speed)
        self.gain = self.wheel_radius * one(sides.inverse_inertia)
        self.opposing = -self.wheel_radius * self.wheel_radius * one(sides.inverse_inertia)
        self.held_speed, self.motor_slope = one(sides.held_speed), one(sides.motor_slope)
        self.torque_low, self.torque_high = one(sides.torque_low), one(sides.torque_high)

    def contact(self, offset: float, v: float, u: float) -> tuple[Contact, Made]:
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
        contact = faster, self.gain * moment / speed, speed, slip, force
        return contact, (normal, cosine, coefficient, slope, creeping, traction, torque_slope)

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        offset = self.at(self.low, self.span, place)[0] - self.axis
        return self._seen(self.contact(offset, state[0], state[2])[0])

    def _seen(self, contact: Contact) -> Look:
        faster, _, speed, slip, force = contact
        return Look(abs(faster * speed), self.weight * force * slip, (slip,))

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone."""
        low, span, axis, at, contact = self.low, self.span, self.axis, self.at, self.contact
        reach, begun = GAMMA * size, complex(state[0], state[2])
        where, stretch = at(low, span, place)
        now, made = contact(where - axis, state[0], state[2])
        steepness, drift, books = self._drift(where - axis, now, made, state[2], stretch, reach * size)
        factor = reach * stretch
        solve = self._solver(now, made, steepness, factor)
        part, force = solve(complex(factor * now[0], factor * now[1]) + DRIFT[0] * drift)
        parts, stages = [part], [(factor, now, state[2], part, force)]
        for weights, mixes, ahead, pull in _LATER:
            inner = begun
            for weight, part in zip(weights, parts, strict=True):
                inner += weight * part
            where, stretch = at(low, span, place + ahead * size)
            u, factor = inner.imag, reach * stretch
            later = contact(where - axis, inner.real, u)[0]
            known = complex(factor * later[0], factor * later[1]) + pull * drift
            for weight, part in zip(mixes, parts, strict=True):
                known += weight * part
            part, force = solve(known)
            parts.append(part)
            stages.append((factor, later, u, part, force))
        end = inner + part
        fresh = [end.real, state[1], end.imag]
        if self.books:
            fresh += self._books(state[3:], stages, made[1], books)
        seen = [stage[1] for stage in stages[1 : 1 + INSIDE]]
        inside = max([abs(at[0] * at[2]) for at in seen]), max([self.weight * at[4] * at[3] for at in seen])
        return Stepped(self._seen(now), fresh, [abs(part.real), 0.0, abs(part.imag)], inside)

    def _solver(self, now: Contact, made: Made, steepness: float, reach: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of v, u and the force; see `Implicit`."""
        (rate, wheel_rate, speed, _, _), cosine, torque_slope = now, made[1], made[6]
        per_speed = self.gain / speed
        damping = 1.0 / (1.0 - reach * per_speed * torque_slope)
        wheel_gain = damping * reach * per_speed * self.wheel_radius
        wheel_by_speed = damping * reach * wheel_rate / speed
        slowing = 1.0 / (1.0 + reach * rate / speed)
        speed_gain = self.weight * cosine * (slowing * reach / (self.mass * speed))
        slip_by_speed = -(wheel_by_speed + cosine)
        system = 1.0 - steepness * (slip_by_speed * speed_gain - wheel_gain)

        def solve(known: complex) -> tuple[complex, float]:
            faster, wheel = known.real * slowing, damping * known.imag
            force = steepness * (wheel + slip_by_speed * faster) / system
            faster += speed_gain * force
            return complex(faster, wheel - wheel_by_speed * faster - wheel_gain * force), force

        return solve

    def _drift(
        self, offset: float, now: Contact, made: Made, u: float, stretch: float, scale: float
    ) -> tuple[float, complex, list[float]]:
        """Slope of the force by slip; derivative of the right side by the parameter, times `scale`: of v and u, of
        the books."""
        rate, wheel_rate, speed, slip, pressed = now
        normal, cosine, coefficient, slope, creeping, traction, _ = made
        squared, bend = stretch * stretch, self.curvature
        steepness = normal * (slope * abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep)
        steeper, opening, _, push = self.change(offset)
        sliding = -speed * opening
        force = steeper * traction + steepness * sliding
        forward = (push + (force * self.weight * cosine + pressed * self.weight * opening)) / (self.mass * speed)
        drift = complex(
            scale * (squared * forward + bend * rate),
            scale * (squared * (self.opposing * force / speed) + bend * wheel_rate),
        )
        if not self.books:
            return steepness, drift, []
        along = (0.0, force * u / speed, (force * slip + pressed * sliding) / speed)
        books = [scale * (squared * a + bend * b) for a, b in zip(along, _book_rates(now, u), strict=True)]
        return steepness, drift, books

    def _books(self, start: list[float], stages: list[Stage], cosine: float, drift: list[float]) -> list[float]:
        """Contact time, work and heat at the end of the step; see `Implicit`; cosine: cos φ at its start."""
        reach, now, u, _, _ = stages[0]
        scale, slip, force = reach / now[2], now[3], now[4]
        given = []
        for _, _, _, part, more in stages:
            slipping = part.imag - cosine * part.real
            given.append([0.0, scale * (more * u + force * part.imag), scale * (more * slip + force * slipping)])
        rates = [_book_rates(stage[1], stage[2]) for stage in stages]
        lost = [scale * stage[3].real for stage in stages]
        return add_books(start, [stage[0] for stage in stages], rates, given, lost, drift)


def _book_rates(contact: Contact, u: float) -> list[float]:
    """Contact time, work and heat per metre."""
    _, _, speed, slip, force = contact
    per_metre = force / speed
    return [1.0 / speed, per_metre * u, per_metre * slip]

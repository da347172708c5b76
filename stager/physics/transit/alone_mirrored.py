"""A single lane between two equal sides, in plain numbers: one side stands for both, and nothing turns.

The same equations and method as `alone` and the batch, without loops over sides: this is the contact most often asked
for, one throw at a time. Increments of v and u are the parts of one complex number, which halves the sums.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import Error, Look, Stepped, Way, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.scheme import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE, TOTAL, TOTAL_DRIFT
from stager.physics.transit.segment import Segment

Contact = tuple[complex, float, float, float, float]
"""Rates dv/dt and du/dt at one place; speed v, slip, force of one side, thrust."""
Made = tuple[float, float, float, float, float, float, float, float]
"""What a force is made of: normal, cos φ, friction coefficient and slope, creep's share, φ, slope of the torque,
sin φ."""
Stage = tuple[float, Contact, float, complex, float]
"""A stage of a step, for the books: pace, contact, u of the wheels, increments of v and u, of the force."""
Solve = Callable[[complex], tuple[complex, float]]

_LATER = tuple(zip(STATE, SCALED_KNOWN, PLACE, DRIFT, strict=True))[1:]


class Along(NamedTuple):
    """Derivatives by the place alone: of the rates, the force, the slip; see `drift`."""

    rate: complex
    force: float
    slip: float


class Mirrored(Way):
    """One lane of `lanes` in the one nip of `segment`; see Alone."""

    def __init__(self, lanes: Lanes, segment: Segment) -> None:
        super().__init__(segment.low, segment.slope, segment.bow)
        sides = lanes.sides
        self.books = lanes.books
        self.normal, self.change = segment.profiles[0].alone()
        self.law, self.creep = coefficient_at(sides.laws[0]), one(sides.creep)
        self.inverse_mass, self.radius = one(lanes.inverse_mass), one(lanes.radius)
        self.top, self.gain, self.brake = one(sides.top), one(sides.gain), one(sides.brake)
        self.held_speed, self.motor_slope = one(sides.held_speed), one(sides.motor_slope)
        self.torque_low, self.torque_high = one(sides.torque_low), one(sides.torque_high)

    def contact(self, offset: float, v: float, u: float) -> tuple[Contact, Made]:
        """As `slopes`, `offset` past the axis plane [m] at speeds v of the projectile, u of the wheels [m/s]."""
        speed = max(v, LEAST_SPEED)
        normal, cosine, sine, push = self.normal(offset)
        slip = u - speed * cosine
        coefficient, slope = self.law(-slip if slip < 0.0 else slip)
        creeping = tanh(slip / self.creep)
        traction = coefficient * creeping
        force = normal * traction
        turning, torque_slope = force * self.brake, 0.0
        if self.motor_slope:
            asked = self.motor_slope * (self.held_speed - u)
            given = min(max(asked, self.torque_low), self.torque_high)
            turning += given * self.gain
            torque_slope = -self.motor_slope if given == asked else 0.0
        thrust = force * cosine + push
        contact = complex(thrust * self.inverse_mass, turning), speed, slip, force, thrust
        return contact, (normal, cosine, coefficient, slope, creeping, traction, torque_slope, sine)

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        return _seen(self.contact(self.at(place)[0], state[0], state[1])[0])

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone."""
        at, contact = self.at, self.contact
        reach, begun = GAMMA * size, complex(state[0], state[1])
        where, stretch = at(place)
        now, made = contact(where, state[0], state[1])
        brief = reach / now[1]
        pace = brief * stretch
        brief *= size
        turned, bent = brief * stretch * stretch, brief * (self.bow + self.bow)
        steepness, along = self._drift(where, now, made)
        drift = _times(turned, along.rate) + _times(bent, now[0])
        solve = self._solver(now, made, steepness, pace)
        part, force = solve(_times(pace, now[0]) + DRIFT[0] * drift)
        parts, stages = [part], [(pace, now, state[1], part, force)]
        for weights, mixes, ahead, pull in _LATER:
            inner = begun
            for weight, part in zip(weights, parts, strict=True):
                inner += weight * part
            where, stretch = at(place + ahead * size)
            u = inner.imag
            later = contact(where, inner.real, u)[0]
            quick = reach * stretch / later[1]
            known = _times(quick, later[0]) + pull * drift
            for weight, part in zip(mixes, parts, strict=True):
                known += weight * part
            part, force = solve(known)
            parts.append(part)
            stages.append((quick, later, u, part, force))
        end = inner + part
        fresh = [end.real, end.imag]
        if self.books:
            fresh += _books(state[2:], stages, made[1], along, turned, bent)
        seen = [stage[1] for stage in stages[1 : 1 + INSIDE]]
        inside = max([abs(at[4]) for at in seen]), max([at[3] * at[2] for at in seen])
        return Stepped(_seen(now), fresh, Error(abs(part.real), 0.0, (abs(part.imag),)), inside)

    def _solver(self, now: Contact, made: Made, steepness: float, pace: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of v, u and the force; see `Implicit`."""
        (rate, speed, _, _, _), cosine, torque_slope = now, made[1], made[6]
        per_speed = pace / speed
        slowing = 1.0 / (per_speed * rate.real + 1.0)
        damping = 1.0 / (1.0 - pace * self.gain * torque_slope)
        wheel_gain = pace * self.brake * damping
        wheel_by_speed = per_speed * rate.imag * damping
        speed_gain = cosine * (slowing * pace * self.inverse_mass)
        slip_by_speed = -(wheel_by_speed + cosine)
        force_gain = steepness / (1.0 - (slip_by_speed * speed_gain + wheel_gain) * steepness)

        def solve(known: complex) -> tuple[complex, float]:
            faster, wheel = known.real * slowing, damping * known.imag
            force = (slip_by_speed * faster + wheel) * force_gain
            faster = speed_gain * force + faster
            return complex(faster, wheel - wheel_by_speed * faster + wheel_gain * force), force

        return solve

    def _drift(self, offset: float, now: Contact, made: Made) -> tuple[float, Along]:
        """Slope of the force by slip, and what changes along the way."""
        _, speed, _, pressed, _ = now
        normal, cosine, coefficient, slope, creeping, traction, _, sine = made
        steepness = normal * (slope * abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep)
        steeper, opening, _, push = self.change(offset, normal, cosine, sine)
        slip = -(speed * opening)
        force = steeper * traction + steepness * slip
        thrust = force * cosine + pressed * opening + push
        return steepness, Along(complex(thrust * self.inverse_mass, force * self.brake), force, slip)


def _books(
    start: list[float], stages: list[Stage], cosine: float, along: Along, turned: float, bent: float
) -> list[float]:
    """Contact time, work and heat at the end of a step; see `Books`; cosine: cos φ at its start."""
    time = worked = heated = forces = 0.0
    gained = 0j
    for weight, (quick, at, wheel, part, more) in zip(TOTAL, stages, strict=True):
        share = quick * weight
        time += share
        worked += at[3] * wheel * share
        heated += at[3] * at[2] * share
        forces += weight * more
        gained += weight * part
    pace, (_, speed, slip, force, _), u, _, _ = stages[0]
    sliding = gained.imag - cosine * gained.real
    common = TOTAL_DRIFT * bent - pace / speed * gained.real
    turned = TOTAL_DRIFT * turned
    more = common * force + pace * forces + turned * along.force
    pressed = pace * force
    work = more * u + pressed * gained.imag
    heat = more * slip + (pressed * sliding + turned * force * along.slip)
    return [start[0] + (time + common), start[1] + (worked + work), start[2] + (heated + heat)]


def _seen(contact: Contact) -> Look:
    _, _, slip, force, thrust = contact
    return Look(abs(thrust), force * slip, (slip,))


def _times(factor: float, rate: complex) -> complex:
    return complex(factor * rate.real, factor * rate.imag)

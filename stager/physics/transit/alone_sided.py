"""A single lane between two sides that differ, in plain numbers: a rail, an idler, two speeds, or spin on entry.

v and the spin are the parts of one complex number, the speeds of the two sides those of another: half the sums.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import Look, Stepped, Way, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.scheme import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE, TOTAL, TOTAL_DRIFT

Pair = tuple[float, float]
Solve = Callable[[complex, complex], tuple[complex, complex, float, float]]

_LATER = tuple(zip(STATE, SCALED_KNOWN, PLACE, DRIFT, strict=True))[1:]


class Side(NamedTuple):
    """One side in numbers; fields as in Sides."""

    law: Callable[[float], Pair]
    turn: float
    gain: float
    brake: float
    held_speed: float
    motor_slope: float
    torque_low: float
    torque_high: float


class Contact(NamedTuple):
    """Rates at one place, of v and spin and of both sides' speeds; v; of each side slip and force; thrust."""

    body: complex
    wheels: complex
    speed: float
    slip_a: float
    slip_b: float
    force_a: float
    force_b: float
    thrust: float


class Along(NamedTuple):
    """Derivatives by the place alone: of the rates, forces and slips; see `drift`."""

    body: complex
    wheels: complex
    force_a: float
    force_b: float
    slip_a: float
    slip_b: float


class Stage(NamedTuple):
    """A stage of a step, for the books: pace, contact, the sides' speeds; increments of the body, of the sides' speeds,
    of the forces."""

    pace: float
    at: Contact
    wheels: complex
    part: complex
    wheel_part: complex
    more_a: float
    more_b: float


class Made(NamedTuple):
    """What the forces are made of: N, cos φ of A and B, sin φ, φ(s) of each, slope of each by slip, dF_B/dF_A, whether
    a rail is pressed, slope of each torque."""

    normal: float
    cosine: float
    cosine_b: float
    sine: float
    traction_a: float
    traction_b: float
    steepness_a: float
    steepness_b: float
    coupling: float
    coupled: bool
    torque_slope_a: float
    torque_slope_b: float


class Sided(Way):
    """The one lane of `lanes` in one nip; see Alone."""

    def __init__(self, lanes: Lanes) -> None:
        sides = lanes.sides
        self.books, self.turns, self.rail, self.level = lanes.books, sides.turns, sides.rail[1], sides.level[1]
        self.inverse_mass, self.radius, self.creep = one(lanes.inverse_mass), one(lanes.radius), one(sides.creep)
        self.spin_gain, self.top = one(lanes.spin_gain), one(sides.top)
        self.a, self.b = (
            Side(
                law=coefficient_at(sides.laws[k]), turn=sides.turn[k], gain=one(sides.gain, k),
                brake=one(sides.brake, k), held_speed=one(sides.held_speed, k), motor_slope=one(sides.motor_slope, k),
                torque_low=one(sides.torque_low, k), torque_high=one(sides.torque_high, k),
            )
            for k in range(2)
        )  # fmt: skip

    def _parts(self, state: list[float]) -> tuple[complex, complex]:
        """Speed and spin of the body, speeds of the sides; a body that cannot turn has no spin among its rows."""
        if self.turns:
            return complex(state[0], state[1]), complex(state[2], state[3])
        return complex(state[0], 0.0), complex(state[1], state[2])

    def contact(self, offset: float, body: complex, wheels: complex) -> tuple[Contact, Made]:
        """As `slopes`, `offset` past the axis plane [m] at speed and spin of the body, speeds of the sides."""
        a, b, creep = self.a, self.b, self.creep
        speed = max(body.real, LEAST_SPEED)
        normal, cosine, sine, push = self.normal(offset)
        cosine_b = 1.0 if self.level else cosine
        around = self.radius * body.imag
        slip_a = wheels.real - speed * cosine - a.turn * around
        slip_b = wheels.imag - speed * cosine_b - b.turn * around
        coefficient_a, slope_a = a.law(-slip_a if slip_a < 0.0 else slip_a)
        coefficient_b, slope_b = b.law(-slip_b if slip_b < 0.0 else slip_b)
        creeping_a, creeping_b = tanh(slip_a / creep), tanh(slip_b / creep)
        traction_a, traction_b = coefficient_a * creeping_a, coefficient_b * creeping_b
        pressing, coupling, coupled = normal, 0.0, False
        if self.rail:
            pressed = normal * (cosine - traction_a * sine)
            coupled = pressed > 0.0
            pressing, coupling = (pressed, -traction_b * sine) if coupled else (0.0, 0.0)
        force_a, force_b = normal * traction_a, pressing * traction_b
        wheel_a, torque_slope_a = _turn(a, wheels.real, force_a)
        wheel_b, torque_slope_b = _turn(b, wheels.imag, force_b)
        turning = (force_a * a.turn + force_b * b.turn) * self.spin_gain if self.turns else 0.0
        thrust = force_a * cosine + force_b * cosine_b + push
        inner_a = slope_a * abs(creeping_a) + coefficient_a * (1.0 - creeping_a * creeping_a) / creep
        inner_b = slope_b * abs(creeping_b) + coefficient_b * (1.0 - creeping_b * creeping_b) / creep
        body_rate, wheel_rate = complex(thrust * self.inverse_mass, turning), complex(wheel_a, wheel_b)
        now = Contact(body_rate, wheel_rate, speed, slip_a, slip_b, force_a, force_b, thrust)
        return now, Made(
            normal, cosine, cosine_b, sine, traction_a, traction_b, normal * inner_a, pressing * inner_b,
            coupling, coupled, torque_slope_a, torque_slope_b,
        )  # fmt: skip

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        return _seen(self.contact(self.at(place)[0], *self._parts(state))[0])

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone."""
        at, contact = self.at, self.contact
        reach = GAMMA * size
        body, wheels = self._parts(state)
        where, stretch = at(place)
        now, made = contact(where, body, wheels)
        brief = reach / now.speed
        pace = brief * stretch
        brief *= size
        turned, bent = brief * stretch * stretch, brief * (self.bow + self.bow)
        along = self._drift(where, now, made)
        drift = _times(turned, along.body) + _times(bent, now.body)
        wheel_drift = _times(turned, along.wheels) + _times(bent, now.wheels)
        solve = self._solver(now, made, pace)
        known, wheel_known = _times(pace, now.body), _times(pace, now.wheels)
        part, wheel_part, more_a, more_b = solve(known + DRIFT[0] * drift, wheel_known + DRIFT[0] * wheel_drift)
        parts, wheel_parts = [part], [wheel_part]
        stages = [Stage(pace, now, wheels, part, wheel_part, more_a, more_b)]
        for weights, mixes, ahead, pull in _LATER:
            inner, wheel_inner = body, wheels
            for weight, part, wheel_part in zip(weights, parts, wheel_parts, strict=True):
                inner += weight * part
                wheel_inner += weight * wheel_part
            where, stretch = at(place + ahead * size)
            later = contact(where, inner, wheel_inner)[0]
            quick = reach * stretch / later.speed
            known = _times(quick, later.body) + pull * drift
            wheel_known = _times(quick, later.wheels) + pull * wheel_drift
            for weight, part, wheel_part in zip(mixes, parts, wheel_parts, strict=True):
                known += weight * part
                wheel_known += weight * wheel_part
            part, wheel_part, more_a, more_b = solve(known, wheel_known)
            parts.append(part)
            wheel_parts.append(wheel_part)
            stages.append(Stage(quick, later, wheel_inner, part, wheel_part, more_a, more_b))
        end, wheel_end = inner + part, wheel_inner + wheel_part
        fresh = [end.real, end.imag] if self.turns else [end.real]
        fresh += [wheel_end.real, wheel_end.imag]
        if self.books:
            fresh += self._books(state[len(fresh) :], stages, made, along, turned, bent)
        seen = [_seen(stage.at) for stage in stages[1 : 1 + INSIDE]]
        inside = max([look[0] for look in seen]), max([look[1] for look in seen])
        error = abs(part.real), abs(part.imag), max(abs(wheel_part.real), abs(wheel_part.imag))
        return _seen(now), fresh, error, inside

    def _solver(self, now: Contact, made: Made, pace: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of the body, the sides' speeds and the forces; see `Implicit`."""
        a, b, r, speed, turns = self.a, self.b, self.radius, now.speed, self.turns
        per_speed = pace / speed
        slowing = 1.0 / (per_speed * now.body.real + 1.0)
        spin_gain, spin_by_speed = pace * self.spin_gain, per_speed * now.body.imag
        damping_a = 1.0 / (1.0 - pace * a.gain * made.torque_slope_a)
        damping_b = 1.0 / (1.0 - pace * b.gain * made.torque_slope_b)
        wheel_gain_a, wheel_gain_b = pace * a.brake * damping_a, pace * b.brake * damping_b
        by_speed_a, by_speed_b = per_speed * now.wheels.real * damping_a, per_speed * now.wheels.imag * damping_b
        pushing = slowing * pace * self.inverse_mass
        speed_gain_a, speed_gain_b = made.cosine * pushing, made.cosine_b * pushing
        slip_a = -(by_speed_a + made.cosine) + a.turn * (r * spin_by_speed)
        slip_b = -(by_speed_b + made.cosine_b) + b.turn * (r * spin_by_speed)
        steep_a, steep_b, spinning = made.steepness_a, made.steepness_b, r * spin_gain
        aa = 1.0 - (slip_a * speed_gain_a - a.turn * a.turn * spinning + wheel_gain_a) * steep_a
        ab = 0.0 - (slip_a * speed_gain_b - a.turn * b.turn * spinning) * steep_a
        ba = 0.0 - (slip_b * speed_gain_a - b.turn * a.turn * spinning) * steep_b - made.coupling
        bb = 1.0 - (slip_b * speed_gain_b - b.turn * b.turn * spinning + wheel_gain_b) * steep_b
        determinant = aa * bb - ab * ba
        first, second = steep_a / determinant, steep_b / determinant
        gain_aa, gain_ab, gain_ba, gain_bb = bb * first, -ab * second, -ba * first, aa * second

        def solve(known: complex, wheel_known: complex) -> tuple[complex, complex, float, float]:
            faster, around = known.real * slowing, r * known.imag
            wheel_a, wheel_b = damping_a * wheel_known.real, damping_b * wheel_known.imag
            known_a = slip_a * faster + wheel_a - a.turn * around
            known_b = slip_b * faster + wheel_b - b.turn * around
            force_a, force_b = gain_aa * known_a + gain_ab * known_b, gain_ba * known_a + gain_bb * known_b
            faster = speed_gain_a * force_a + speed_gain_b * force_b + faster
            spin = 0.0
            if turns:
                spin = (a.turn * force_a + b.turn * force_b) * spin_gain - spin_by_speed * faster + known.imag
            wheels = complex(
                wheel_a - by_speed_a * faster + wheel_gain_a * force_a,
                wheel_b - by_speed_b * faster + wheel_gain_b * force_b,
            )
            return complex(faster, spin), wheels, force_a, force_b

        return solve

    def _drift(self, offset: float, now: Contact, made: Made) -> Along:
        """What changes along the way."""
        a, b, speed = self.a, self.b, now.speed
        normal, cosine, sine, push = self.change(offset, made.normal, made.cosine, made.sine)
        cosine_b = 0.0 if self.level else cosine
        slip_a, slip_b = -(speed * cosine), -(speed * cosine_b)
        force_a = normal * made.traction_a + made.steepness_a * slip_a
        force_b = normal * made.traction_b + made.steepness_b * slip_b
        if self.rail:
            pressed = normal * made.cosine + made.normal * cosine - force_a * made.sine - now.force_a * sine
            force_b = pressed * made.traction_b if made.coupled else 0.0
        thrust = force_a * made.cosine + now.force_a * cosine + (force_b * made.cosine_b + now.force_b * cosine_b)
        thrust += push
        turning = (force_a * a.turn + force_b * b.turn) * self.spin_gain if self.turns else 0.0
        wheels = complex(force_a * a.brake, force_b * b.brake)
        return Along(complex(thrust * self.inverse_mass, turning), wheels, force_a, force_b, slip_a, slip_b)

    def _books(
        self, start: list[float], stages: list[Stage], made: Made, along: Along, turned: float, bent: float
    ) -> list[float]:
        """Contact time, works and heats at the end of the step; see `Books`."""
        time = work_a = work_b = heat_a = heat_b = forces_a = forces_b = 0.0
        gained = wheels = 0j
        for weight, stage in zip(TOTAL, stages, strict=True):
            share, at = stage.pace * weight, stage.at
            time += share
            work_a += at.force_a * stage.wheels.real * share
            work_b += at.force_b * stage.wheels.imag * share
            heat_a += at.force_a * at.slip_a * share
            heat_b += at.force_b * at.slip_b * share
            forces_a += weight * stage.more_a
            forces_b += weight * stage.more_b
            gained += weight * stage.part
            wheels += weight * stage.wheel_part
        pace, now, u = stages[0].pace, stages[0].at, stages[0].wheels
        around = self.radius * gained.imag
        slip_a = wheels.real - made.cosine * gained.real - self.a.turn * around
        slip_b = wheels.imag - made.cosine_b * gained.real - self.b.turn * around
        common = TOTAL_DRIFT * bent - pace / now.speed * gained.real
        turned = TOTAL_DRIFT * turned
        more_a = common * now.force_a + pace * forces_a + turned * along.force_a
        more_b = common * now.force_b + pace * forces_b + turned * along.force_b
        pressed_a, pressed_b = pace * now.force_a, pace * now.force_b
        added = (
            time + common,
            work_a + (more_a * u.real + pressed_a * wheels.real),
            work_b + (more_b * u.imag + pressed_b * wheels.imag),
            heat_a + (more_a * now.slip_a + (pressed_a * slip_a + turned * now.force_a * along.slip_a)),
            heat_b + (more_b * now.slip_b + (pressed_b * slip_b + turned * now.force_b * along.slip_b)),
        )
        return [before + more for before, more in zip(start, added, strict=True)]


def _turn(side: Side, wheel: float, force: float) -> Pair:
    """du/dt of a side and its torque's slope."""
    turning, torque_slope = force * side.brake, 0.0
    if side.motor_slope:
        asked = side.motor_slope * (side.held_speed - wheel)
        given = min(max(asked, side.torque_low), side.torque_high)
        turning += given * side.gain
        torque_slope = -side.motor_slope if given == asked else 0.0
    return turning, torque_slope


def _times(factor: float, rate: complex) -> complex:
    return complex(factor * rate.real, factor * rate.imag)


def _seen(now: Contact) -> Look:
    return abs(now.thrust), now.force_a * now.slip_a + now.force_b * now.slip_b, now.slip_a, now.slip_b

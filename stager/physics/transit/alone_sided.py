"""A single lane between two sides that differ, in plain numbers: a rail, an idler, two speeds, or spin on entry.

v and the spin are the parts of one complex number, the speeds of the two sides those of another: half the sums.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import Look, Stepped, add_books, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.rosenbrock import DRIFT, GAMMA, INSIDE, PLACE, SCALED_KNOWN, STATE
from stager.physics.transit.segment import Segment

Pair = tuple[float, float]
Solve = Callable[[complex, complex], tuple[complex, complex, float, float]]

_LATER = tuple(zip(STATE, SCALED_KNOWN, PLACE, DRIFT, strict=True))[1:]


class Side(NamedTuple):
    """One side in numbers; fields as in Sides. gain: R/J; opposing: −R²/J."""

    law: Callable[[float], Pair]
    turn: float
    radius: float
    gain: float
    opposing: float
    held_speed: float
    motor_slope: float
    torque_low: float
    torque_high: float


class Contact(NamedTuple):
    """Right side at one place, of v and spin and of both sides' speeds; v; of each side slip and force."""

    body: complex
    wheels: complex
    speed: float
    slip_a: float
    slip_b: float
    force_a: float
    force_b: float


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


class Sided:
    """One lane of `lanes` in the one nip of `segment`; see Alone."""

    count = 2

    def __init__(self, lanes: Lanes, segment: Segment) -> None:
        sides = lanes.sides
        self.books, self.turns, self.rail, self.level = lanes.books, sides.turns, sides.rail[1], sides.level[1]
        self.low, self.span, self.at = one(segment.low), one(segment.span), segment.bend.at
        self.curvature = segment.bend.curvature * self.span
        (self.normal, self.change), self.axis = segment.profiles[0].alone(), one(lanes.axes[0])
        self.mass, self.radius, self.creep = one(lanes.mass), one(lanes.radius), one(sides.creep)
        self.inverse_spin_inertia = one(lanes.inverse_spin_inertia)
        self.spin_gain = self.radius * self.inverse_spin_inertia
        self.top = max(one(sides.set_speed, 0), one(sides.set_speed, 1))
        self.a, self.b = (
            Side(
                law=coefficient_at(sides.laws[k]), turn=sides.turn[k], radius=one(sides.radius, k),
                gain=one(sides.radius, k) * one(sides.inverse_inertia, k),
                opposing=-one(sides.radius, k) * one(sides.radius, k) * one(sides.inverse_inertia, k),
                held_speed=one(sides.held_speed, k), motor_slope=one(sides.motor_slope, k),
                torque_low=one(sides.torque_low, k), torque_high=one(sides.torque_high, k),
            )
            for k in range(2)
        )  # fmt: skip

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
        wheel_a, torque_slope_a = _turn(a, wheels.real, force_a, speed)
        wheel_b, torque_slope_b = _turn(b, wheels.imag, force_b, speed)
        turning = self.spin_gain * (force_a * a.turn + force_b * b.turn) / speed if self.turns else 0.0
        faster = (push + (force_a * cosine + force_b * cosine_b)) / (self.mass * speed)
        inner_a = slope_a * abs(creeping_a) + coefficient_a * (1.0 - creeping_a * creeping_a) / creep
        inner_b = slope_b * abs(creeping_b) + coefficient_b * (1.0 - creeping_b * creeping_b) / creep
        now = Contact(complex(faster, turning), complex(wheel_a, wheel_b), speed, slip_a, slip_b, force_a, force_b)
        return now, Made(
            normal, cosine, cosine_b, sine, traction_a, traction_b, normal * inner_a, pressing * inner_b,
            coupling, coupled, torque_slope_a, torque_slope_b,
        )  # fmt: skip

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        offset = self.at(self.low, self.span, place)[0] - self.axis
        return _seen(self.contact(offset, complex(*state[:2]), complex(*state[2:4]))[0])

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone."""
        low, span, axis, at, contact = self.low, self.span, self.axis, self.at, self.contact
        reach, body, wheels = GAMMA * size, complex(*state[:2]), complex(*state[2:4])
        where, stretch = at(low, span, place)
        now, made = contact(where - axis, body, wheels)
        drift, wheel_drift, books = self._drift(where - axis, now, made, wheels, stretch, reach * size)
        factor = reach * stretch
        solve = self._solver(now, made, factor)
        known, wheel_known = _times(factor, now.body), _times(factor, now.wheels)
        part, wheel_part, more_a, more_b = solve(known + DRIFT[0] * drift, wheel_known + DRIFT[0] * wheel_drift)
        parts, wheel_parts, stages = [part], [wheel_part], [(factor, now, wheels, more_a, more_b)]
        for weights, mixes, ahead, pull in _LATER:
            inner, wheel_inner = body, wheels
            for weight, part, wheel_part in zip(weights, parts, wheel_parts, strict=True):
                inner += weight * part
                wheel_inner += weight * wheel_part
            where, stretch = at(low, span, place + ahead * size)
            later, factor = contact(where - axis, inner, wheel_inner)[0], reach * stretch
            known = _times(factor, later.body) + pull * drift
            wheel_known = _times(factor, later.wheels) + pull * wheel_drift
            for weight, part, wheel_part in zip(mixes, parts, wheel_parts, strict=True):
                known += weight * part
                wheel_known += weight * wheel_part
            part, wheel_part, more_a, more_b = solve(known, wheel_known)
            parts.append(part)
            wheel_parts.append(wheel_part)
            stages.append((factor, later, wheel_inner, more_a, more_b))
        end, wheel_end = inner + part, wheel_inner + wheel_part
        fresh = [end.real, end.imag, wheel_end.real, wheel_end.imag]
        if self.books:
            fresh += self._books(state[4:], stages, parts, wheel_parts, made, books)
        seen = [_seen(stage[1]) for stage in stages[1 : 1 + INSIDE]]
        inside = max([look.acceleration for look in seen]), max([look.slip_power for look in seen])
        error = [abs(part.real), abs(part.imag), abs(wheel_part.real), abs(wheel_part.imag)]
        return Stepped(_seen(now), fresh, error, inside)

    def _solver(self, now: Contact, made: Made, reach: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of the body, the sides' speeds and the forces; see `Implicit`."""
        a, b, r, speed, turns = self.a, self.b, self.radius, now.speed, self.turns
        spin_gain = reach * r * self.inverse_spin_inertia / speed
        slowing = 1.0 / (1.0 + reach * now.body.real / speed)
        spin_by_speed = reach * now.body.imag / speed
        per_a, per_b = a.gain / speed, b.gain / speed
        damping_a = 1.0 / (1.0 - reach * per_a * made.torque_slope_a)
        damping_b = 1.0 / (1.0 - reach * per_b * made.torque_slope_b)
        by_speed_a = damping_a * reach * now.wheels.real / speed
        by_speed_b = damping_b * reach * now.wheels.imag / speed
        wheel_gain_a, wheel_gain_b = damping_a * reach * per_a * a.radius, damping_b * reach * per_b * b.radius
        pushing = slowing * reach / (self.mass * speed)
        speed_gain_a, speed_gain_b = made.cosine * pushing, made.cosine_b * pushing
        slip_a = -(by_speed_a + made.cosine) + a.turn * (r * spin_by_speed)
        slip_b = -(by_speed_b + made.cosine_b) + b.turn * (r * spin_by_speed)
        steep_a, steep_b = made.steepness_a, made.steepness_b
        aa = 1.0 - steep_a * (slip_a * speed_gain_a - a.turn * a.turn * r * spin_gain - wheel_gain_a)
        ab = -steep_a * (slip_a * speed_gain_b - a.turn * b.turn * r * spin_gain)
        ba = -steep_b * (slip_b * speed_gain_a - b.turn * a.turn * r * spin_gain) - made.coupling
        bb = 1.0 - steep_b * (slip_b * speed_gain_b - b.turn * b.turn * r * spin_gain - wheel_gain_b)
        determinant = aa * bb - ab * ba

        def solve(known: complex, wheel_known: complex) -> tuple[complex, complex, float, float]:
            faster, around = known.real * slowing, r * known.imag
            wheel_a, wheel_b = damping_a * wheel_known.real, damping_b * wheel_known.imag
            right_a = steep_a * (wheel_a + slip_a * faster - a.turn * around)
            right_b = steep_b * (wheel_b + slip_b * faster - b.turn * around)
            force_a = (bb * right_a - ab * right_b) / determinant
            force_b = (aa * right_b - ba * right_a) / determinant
            faster += speed_gain_a * force_a + speed_gain_b * force_b
            spin = known.imag
            if turns:
                spin += spin_gain * (a.turn * force_a + b.turn * force_b) - spin_by_speed * faster
            wheels = complex(
                wheel_a - by_speed_a * faster - wheel_gain_a * force_a,
                wheel_b - by_speed_b * faster - wheel_gain_b * force_b,
            )
            return complex(faster, spin), wheels, force_a, force_b

        return solve

    def _drift(
        self, offset: float, now: Contact, made: Made, wheels: complex, stretch: float, scale: float
    ) -> tuple[complex, complex, list[float]]:
        """Derivative of the right side by the parameter, times `scale`: of the body, the sides and the books."""
        a, b, speed = self.a, self.b, now.speed
        normal, cosine, sine, push = self.change(offset)
        cosine_b = 0.0 if self.level else cosine
        sliding_a, sliding_b = -speed * cosine, -speed * cosine_b
        force_a = normal * made.traction_a + made.steepness_a * sliding_a
        pressing = normal
        if self.rail:
            pressed = normal * made.cosine + made.normal * cosine - force_a * made.sine - now.force_a * sine
            pressing = pressed if made.coupled else 0.0
        force_b = pressing * made.traction_b + made.steepness_b * sliding_b
        forward = force_a * made.cosine + now.force_a * cosine
        forward = (push + (forward + (force_b * made.cosine_b + now.force_b * cosine_b))) / (self.mass * speed)
        turning = self.spin_gain * (force_a * a.turn + force_b * b.turn) / speed if self.turns else 0.0
        squared, bend = stretch * stretch, self.curvature
        along = [forward, turning, a.opposing * force_a / speed, b.opposing * force_b / speed]
        rate = [now.body.real, now.body.imag, now.wheels.real, now.wheels.imag]
        if self.books:
            along += [0.0, force_a * wheels.real / speed, force_b * wheels.imag / speed]
            along += [(force_a * now.slip_a + now.force_a * sliding_a) / speed]
            along += [(force_b * now.slip_b + now.force_b * sliding_b) / speed]
            rate += _book_rates(now, wheels)
        drift = [scale * (squared * x + bend * y) for x, y in zip(along, rate, strict=True)]
        return complex(*drift[:2]), complex(*drift[2:4]), drift[4:]

    def _books(
        self, start: list[float], stages: list[tuple[float, Contact, complex, float, float]],
        parts: list[complex], wheel_parts: list[complex], made: Made, drift: list[float],
    ) -> list[float]:  # fmt: skip
        """Contact time, works and heats at the end of the step; see `Implicit`."""
        reach, now, wheels, _, _ = stages[0]
        scale, given = reach / now.speed, []
        for (_, _, _, more_a, more_b), part, wheel in zip(stages, parts, wheel_parts, strict=True):
            around = self.radius * part.imag
            slip_a = wheel.real - made.cosine * part.real - self.a.turn * around
            slip_b = wheel.imag - made.cosine_b * part.real - self.b.turn * around
            given.append([
                0.0, scale * (more_a * wheels.real + now.force_a * wheel.real),
                scale * (more_b * wheels.imag + now.force_b * wheel.imag),
                scale * (more_a * now.slip_a + now.force_a * slip_a),
                scale * (more_b * now.slip_b + now.force_b * slip_b),
            ])  # fmt: skip
        rates = [_book_rates(stage[1], stage[2]) for stage in stages]
        return add_books(start, [stage[0] for stage in stages], rates, given, [scale * p.real for p in parts], drift)


def _turn(side: Side, wheel: float, force: float, speed: float) -> Pair:
    """du/dx of a side and its torque's slope."""
    moment, torque_slope = -side.radius * force, 0.0
    if side.motor_slope:
        asked = side.motor_slope * (side.held_speed - wheel)
        given = min(max(asked, side.torque_low), side.torque_high)
        moment += given
        torque_slope = -side.motor_slope if given == asked else 0.0
    return side.gain * moment / speed, torque_slope


def _times(factor: float, rate: complex) -> complex:
    return complex(factor * rate.real, factor * rate.imag)


def _seen(now: Contact) -> Look:
    power = now.force_a * now.slip_a + now.force_b * now.slip_b
    return Look(abs(now.body.real * now.speed), power, (now.slip_a, now.slip_b))


def _book_rates(now: Contact, wheels: complex) -> list[float]:
    """Contact time, works and heats per metre."""
    per_a, per_b = now.force_a / now.speed, now.force_b / now.speed
    return [1.0 / now.speed, per_a * wheels.real, per_b * wheels.imag, per_a * now.slip_a, per_b * now.slip_b]

"""A single lane between two sides that differ, in plain numbers: a rail, an idler, two speeds, or spin on entry.

As `alone_mirrored`; v and the spin are the parts of one complex number, the speeds of the two sides those of another:
half the sums. A body that cannot turn has a spin of 0 throughout.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stager.physics.elementary import tanh
from stager.physics.friction.single import Coefficient, coefficient_at
from stager.physics.transit.alone import Look, Pressing, Stepped, Way, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.scheme import DRIFT, GAMMA, PLACE, SCALED_KNOWN, STATE, TOTAL, TOTAL_DRIFT

Grip = tuple[float, float, float, float]
"""What a side's force is made of: friction coefficient and slope, creep's share, φ."""
Made = tuple[Grip, Grip, float, float, bool, float, float]
"""What the forces are made of: grips of A and B, normal of B, dF_B/dF_A, whether a rail is pressed, slope of each
torque."""
Contact = tuple[complex, complex, float, float, float, float, float, float, Made]
"""Rates at one place, of v and spin and of both sides' speeds; v; slip of A and B, force of each; thrust; what the
forces are made of."""
Along = tuple[complex, complex, float, float, float, float]
"""Derivatives by the place alone: of the rates, of the force of A and B, of the slip of each; see `drift`."""
Part = tuple[complex, complex, float, float]
"""Increments by a stage: of the body, of the sides' speeds, of the force of A and B."""
Stage = tuple[float, Contact, complex, Part]
"""A stage of a step, for the books: pace, contact, the sides' speeds, increments."""
Solve = Callable[[complex, complex], Part]

(S21,), (S31, S32), (S41, S42, S43), (S51, S52, S53, S54) = STATE[1:5]
(K21,), (K31, K32), (K41, K42, K43), (K51, K52, K53, K54), (K61, K62, K63, K64, K65) = SCALED_KNOWN[1:]
PLACE2, PLACE3, PLACE4 = PLACE[1:4]
DRIFT1, DRIFT2, DRIFT3, DRIFT4 = DRIFT[:4]


@dataclass(frozen=True, slots=True)
class Side:
    """One side in numbers; fields as in Sides."""

    law: Coefficient
    turn: float
    gain: float
    brake: float
    held_speed: float
    motor_slope: float
    torque_low: float
    torque_high: float

    def torque(self, wheel: float) -> tuple[float, float]:
        """Motor torque beyond what holds the wheel [N m], and its slope by surface speed [N m/(m/s)]; as Sides."""
        asked = self.motor_slope * (self.held_speed - wheel)
        if self.torque_low <= asked <= self.torque_high:
            return asked, -self.motor_slope
        return min(max(asked, self.torque_low), self.torque_high), 0.0


class Sided(Way):
    """The one lane of `lanes` in one nip; see Alone."""

    def __init__(self, lanes: Lanes) -> None:
        sides = lanes.sides
        self.books, self.turns, self.rail, self.level = lanes.books, sides.turns, sides.rail[1], sides.level[1]
        self.inverse_mass, self.radius, self.creep = one(lanes.inverse_mass), one(lanes.radius), one(sides.creep)
        self.spin_gain, self.top, self.driven = one(lanes.spin_gain), one(sides.top), sides.driven
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

    def contact(self, pressing: Pressing, body: complex, wheels: complex) -> Contact:
        """As `slopes`, at speed and spin of the body, speeds of the sides."""
        a, b, creep, v, u_a, u_b = self.a, self.b, self.creep, body.real, wheels.real, wheels.imag
        normal, cosine, sine, push = pressing
        cosine_b, normal_b, coupling, coupled = 1.0 if self.level else cosine, normal, 0.0, False
        speed = LEAST_SPEED if v < LEAST_SPEED else v
        slip_a, slip_b = u_a - speed * cosine, u_b - speed * cosine_b
        if self.turns:
            around = self.radius * body.imag
            slip_a -= a.turn * around
            slip_b -= b.turn * around
        coefficient_a, slope_a = a.law(-slip_a if slip_a < 0.0 else slip_a)
        coefficient_b, slope_b = b.law(-slip_b if slip_b < 0.0 else slip_b)
        creeping_a, creeping_b = tanh(slip_a / creep), tanh(slip_b / creep)
        traction_a, traction_b = coefficient_a * creeping_a, coefficient_b * creeping_b
        if self.rail:
            pressed = normal * (cosine - traction_a * sine)
            coupled = pressed > 0.0
            normal_b, coupling = (pressed, -traction_b * sine) if coupled else (0.0, 0.0)
        force_a, force_b = normal * traction_a, normal_b * traction_b
        rate_a, rate_b, torque_slope_a, torque_slope_b = force_a * a.brake, force_b * b.brake, 0.0, 0.0
        if self.driven:
            torque_a, torque_slope_a = a.torque(u_a)
            torque_b, torque_slope_b = b.torque(u_b)
            rate_a += torque_a * a.gain
            rate_b += torque_b * b.gain
        turning = (force_a * a.turn + force_b * b.turn) * self.spin_gain if self.turns else 0.0
        thrust = force_a * cosine + force_b * cosine_b + push
        rates = complex(thrust * self.inverse_mass, turning), complex(rate_a, rate_b)
        grip_a, grip_b = (
            (coefficient_a, slope_a, creeping_a, traction_a),
            (coefficient_b, slope_b, creeping_b, traction_b),
        )
        made = grip_a, grip_b, normal_b, coupling, coupled, torque_slope_a, torque_slope_b
        return rates[0], rates[1], speed, slip_a, slip_b, force_a, force_b, thrust, made

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        return _seen(self.contact(self.normal(self.at(place)[0]), *self._parts(state)))

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone. p1, w1: the first stage's increments of the body and of the sides' speeds, and so on."""
        at, contact, normal, reach = self.at, self.contact, self.normal, GAMMA * size
        body, wheels = self._parts(state)
        where, stretch = at(place)
        pressing = normal(where)
        now = contact(pressing, body, wheels)
        brief = reach / now[2]
        pace = brief * stretch
        brief *= size
        turned, bent = brief * stretch * stretch, brief * (self.bow + self.bow)
        steepness, along = self._drift(where, pressing, now)
        drift, drift_w = turned * along[0] + bent * now[0], turned * along[1] + bent * now[1]
        solve = self._solver(pressing[1], now, steepness, pace)
        p1, w1, _, _ = part1 = solve(pace * now[0] + DRIFT1 * drift, pace * now[1] + DRIFT1 * drift_w)
        where, stretch = at(place + PLACE2 * size)
        wheels2 = wheels + S21 * w1
        at2 = contact(normal(where), body + S21 * p1, wheels2)
        pace2 = reach * stretch / at2[2]
        known = pace2 * at2[0] + DRIFT2 * drift + K21 * p1
        p2, w2, _, _ = part2 = solve(known, pace2 * at2[1] + DRIFT2 * drift_w + K21 * w1)
        where, stretch = at(place + PLACE3 * size)
        wheels3 = wheels + S31 * w1 + S32 * w2
        at3 = contact(normal(where), body + S31 * p1 + S32 * p2, wheels3)
        pace3 = reach * stretch / at3[2]
        known = pace3 * at3[0] + DRIFT3 * drift + K31 * p1 + K32 * p2
        p3, w3, _, _ = part3 = solve(known, pace3 * at3[1] + DRIFT3 * drift_w + K31 * w1 + K32 * w2)
        where, stretch = at(place + PLACE4 * size)
        wheels4 = wheels + S41 * w1 + S42 * w2 + S43 * w3
        at4 = contact(normal(where), body + S41 * p1 + S42 * p2 + S43 * p3, wheels4)
        pace4 = reach * stretch / at4[2]
        known = pace4 * at4[0] + DRIFT4 * drift + K41 * p1 + K42 * p2 + K43 * p3
        part4 = solve(known, pace4 * at4[1] + DRIFT4 * drift_w + K41 * w1 + K42 * w2 + K43 * w3)
        stages = (
            (pace, now, wheels, part1),
            (pace2, at2, wheels2, part2),
            (pace3, at3, wheels3, part3),
            (pace4, at4, wheels4, part4),
        )
        five, six, fresh = self._end(place + size, reach, body, wheels, stages, solve)
        if self.books:
            fresh += self._books(state[len(fresh) :], (*stages, five, six), pressing[1], along, turned, bent)
        last, wheels_last, _, _ = six[3]
        seen2, seen3, seen4 = _seen(at2), _seen(at3), _seen(at4)
        inside = max(seen2[0], seen3[0], seen4[0]), max(seen2[1], seen3[1], seen4[1])
        error = abs(last.real), abs(last.imag), max(abs(wheels_last.real), abs(wheels_last.imag))
        return _seen(now), fresh, error, inside

    def _end(
        self, parameter: float, reach: float, body: complex, wheels: complex, stages: tuple[Stage, ...], solve: Solve
    ) -> tuple[Stage, Stage, list[float]]:
        """The last two stages, both at the step's end, and the state there; `stages`: those before."""
        (p1, w1, *_), (p2, w2, *_), (p3, w3, *_), (p4, w4, *_) = [stage[3] for stage in stages]
        where, stretch = self.at(parameter)
        pressing = self.normal(where)
        reach *= stretch
        body = body + S51 * p1 + S52 * p2 + S53 * p3 + S54 * p4
        wheels = wheels + S51 * w1 + S52 * w2 + S53 * w3 + S54 * w4
        at5 = self.contact(pressing, body, wheels)
        pace5 = reach / at5[2]
        known = pace5 * at5[0] + K51 * p1 + K52 * p2 + K53 * p3 + K54 * p4
        p5, w5, _, _ = part5 = solve(known, pace5 * at5[1] + K51 * w1 + K52 * w2 + K53 * w3 + K54 * w4)
        # The last stage's state is the one before plus the part before.
        body, wheels6 = body + p5, wheels + w5
        at6 = self.contact(pressing, body, wheels6)
        pace6 = reach / at6[2]
        known = pace6 * at6[0] + K61 * p1 + K62 * p2 + K63 * p3 + K64 * p4 + K65 * p5
        p6, w6, _, _ = part6 = solve(known, pace6 * at6[1] + K61 * w1 + K62 * w2 + K63 * w3 + K64 * w4 + K65 * w5)
        end, wheel_end = body + p6, wheels6 + w6
        fresh = [end.real, end.imag] if self.turns else [end.real]
        fresh += (wheel_end.real, wheel_end.imag)
        return (pace5, at5, wheels, part5), (pace6, at6, wheels6, part6), fresh

    def _solver(self, cosine: float, now: Contact, steepness: tuple[float, float], pace: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of the body, the sides' speeds and the forces; see `Implicit`."""
        a, b, r, turns = self.a, self.b, self.radius, self.turns
        body, wheel_rates, speed, *_, (_, _, _, coupling, _, torque_slope_a, torque_slope_b) = now
        cosine_b = 1.0 if self.level else cosine
        per_speed = pace / speed
        slowing = 1.0 / (per_speed * body.real + 1.0)
        spin_gain, spin_by_speed = pace * self.spin_gain, per_speed * body.imag
        damping_a = 1.0 / (1.0 - pace * a.gain * torque_slope_a)
        damping_b = 1.0 / (1.0 - pace * b.gain * torque_slope_b)
        wheel_gain_a, wheel_gain_b = pace * a.brake * damping_a, pace * b.brake * damping_b
        by_speed_a, by_speed_b = per_speed * wheel_rates.real * damping_a, per_speed * wheel_rates.imag * damping_b
        pushing = slowing * pace * self.inverse_mass
        speed_gain_a, speed_gain_b = cosine * pushing, cosine_b * pushing
        slip_a = -(by_speed_a + cosine) + a.turn * (r * spin_by_speed)
        slip_b = -(by_speed_b + cosine_b) + b.turn * (r * spin_by_speed)
        (steep_a, steep_b), spinning = steepness, r * spin_gain
        aa = 1.0 - (slip_a * speed_gain_a - a.turn * a.turn * spinning + wheel_gain_a) * steep_a
        ab = 0.0 - (slip_a * speed_gain_b - a.turn * b.turn * spinning) * steep_a
        ba = 0.0 - (slip_b * speed_gain_a - b.turn * a.turn * spinning) * steep_b - coupling
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

    def _drift(self, offset: float, pressing: Pressing, now: Contact) -> tuple[tuple[float, float], Along]:
        """Slopes of the forces by slip, and what changes along the way."""
        a, b, creep = self.a, self.b, self.creep
        normal, cosine, sine, _ = pressing
        _, _, speed, _, _, force_a, force_b, _, (grip_a, grip_b, normal_b, _, coupled, _, _) = now
        steep_a, steep_b = normal * _steep(grip_a, creep), normal_b * _steep(grip_b, creep)
        steeper, opening, tilting, push = self.change(offset, normal, cosine, sine)
        cosine_b, opening_b = (1.0, 0.0) if self.level else (cosine, opening)
        slip_a, slip_b = -(speed * opening), -(speed * opening_b)
        more_a, more_b = steeper * grip_a[3] + steep_a * slip_a, steeper * grip_b[3] + steep_b * slip_b
        if self.rail:
            pressed = steeper * cosine + normal * opening - more_a * sine - force_a * tilting
            more_b = pressed * grip_b[3] if coupled else 0.0
        thrust = more_a * cosine + force_a * opening + (more_b * cosine_b + force_b * opening_b)
        thrust += push
        turning = (more_a * a.turn + more_b * b.turn) * self.spin_gain if self.turns else 0.0
        wheels = complex(more_a * a.brake, more_b * b.brake)
        return (steep_a, steep_b), (
            complex(thrust * self.inverse_mass, turning),
            wheels,
            more_a,
            more_b,
            slip_a,
            slip_b,
        )

    def _books(
        self, start: list[float], stages: tuple[Stage, ...], cosine: float, along: Along, turned: float, bent: float
    ) -> list[float]:
        """Contact time, works and heats at the end of the step; see `Books`; cosine: cos φ of A at its start."""
        time = work_a = work_b = heat_a = heat_b = forces_a = forces_b = 0.0
        gained = wheels = 0j
        for weight, (quick, at, speeds, (part, wheel_part, more_a, more_b)) in zip(TOTAL, stages, strict=True):
            share = quick * weight
            time += share
            work_a += at[5] * speeds.real * share
            work_b += at[6] * speeds.imag * share
            heat_a += at[5] * at[3] * share
            heat_b += at[6] * at[4] * share
            forces_a += weight * more_a
            forces_b += weight * more_b
            gained += weight * part
            wheels += weight * wheel_part
        pace, (_, _, speed, slip_a, slip_b, force_a, force_b, _, _), u, _ = stages[0]
        around = self.radius * gained.imag
        sliding_a = wheels.real - cosine * gained.real - self.a.turn * around
        sliding_b = wheels.imag - (1.0 if self.level else cosine) * gained.real - self.b.turn * around
        common = TOTAL_DRIFT * bent - pace / speed * gained.real
        turned = TOTAL_DRIFT * turned
        more_a = common * force_a + pace * forces_a + turned * along[2]
        more_b = common * force_b + pace * forces_b + turned * along[3]
        pressed_a, pressed_b = pace * force_a, pace * force_b
        added = (
            time + common,
            work_a + (more_a * u.real + pressed_a * wheels.real),
            work_b + (more_b * u.imag + pressed_b * wheels.imag),
            heat_a + (more_a * slip_a + (pressed_a * sliding_a + turned * force_a * along[4])),
            heat_b + (more_b * slip_b + (pressed_b * sliding_b + turned * force_b * along[5])),
        )
        return [before + more for before, more in zip(start, added, strict=True)]


def _steep(grip: Grip, creep: float) -> float:
    """dφ/ds of a side."""
    coefficient, slope, creeping, _ = grip
    return slope * abs(creeping) + coefficient * (1.0 - creeping * creeping) / creep


def _seen(contact: Contact) -> Look:
    _, _, _, slip_a, slip_b, force_a, force_b, thrust, _ = contact
    return abs(thrust), force_a * slip_a + force_b * slip_b, slip_a, slip_b

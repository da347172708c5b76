"""A single lane between two equal sides, in plain numbers: one side stands for both, and nothing turns.

The same equations and method as `alone` and the batch, without loops over sides or stages: this is the contact most
often asked for, one throw at a time.
"""

from __future__ import annotations

from collections.abc import Callable

from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.alone import Look, Pressing, Stepped, Way, one
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.scheme import DRIFT, GAMMA, PLACE, SCALED_KNOWN, STATE, TOTAL, TOTAL_DRIFT

Made = tuple[float, float, float, float, float]
"""What a force is made of: friction coefficient and slope, creep's share, φ, slope of the torque."""
Contact = tuple[float, float, float, float, float, float, Made]
"""Rates dv/dt and du/dt at one place; speed v, slip, force of one side, thrust; what the force is made of."""
Along = tuple[float, float, float, float]
"""Derivatives by the place alone: of the rates of v and u, the force, the slip; see `drift`."""
Stage = tuple[float, Contact, float, float, float, float]
"""A stage of a step, for the books: pace, contact, u of the wheels; increments of v, u and the force."""
Solve = Callable[[float, float], tuple[float, float, float]]

(S21,), (S31, S32), (S41, S42, S43), (S51, S52, S53, S54) = STATE[1:5]
(K21,), (K31, K32), (K41, K42, K43), (K51, K52, K53, K54), (K61, K62, K63, K64, K65) = SCALED_KNOWN[1:]
PLACE2, PLACE3, PLACE4 = PLACE[1:4]
DRIFT1, DRIFT2, DRIFT3, DRIFT4 = DRIFT[:4]


class Mirrored(Way):
    """The one lane of `lanes` in one nip; see Alone."""

    def __init__(self, lanes: Lanes) -> None:
        sides = lanes.sides
        self.books = lanes.books
        self.law, self.creep = coefficient_at(sides.laws[0]), one(sides.creep)
        self.inverse_mass, self.radius = one(lanes.inverse_mass), one(lanes.radius)
        self.top, self.gain, self.brake = one(sides.top), one(sides.gain), one(sides.brake)
        self.held_speed, self.motor_slope = one(sides.held_speed), one(sides.motor_slope)
        self.torque_low, self.torque_high = one(sides.torque_low), one(sides.torque_high)

    def contact(self, pressing: Pressing, v: float, u: float) -> Contact:
        """As `slopes`, at speeds v of the projectile, u of the wheels [m/s]."""
        normal, cosine, _, push = pressing
        speed = LEAST_SPEED if v < LEAST_SPEED else v
        slip = u - speed * cosine
        coefficient, slope = self.law(-slip if slip < 0.0 else slip)
        creeping = tanh(slip / self.creep)
        traction = coefficient * creeping
        force = normal * traction
        turning, torque_slope = force * self.brake, 0.0
        if self.motor_slope:
            asked = self.motor_slope * (self.held_speed - u)
            if self.torque_low <= asked <= self.torque_high:
                torque_slope = -self.motor_slope
            else:
                asked = min(max(asked, self.torque_low), self.torque_high)
            turning += asked * self.gain
        thrust = force * cosine + push
        made = coefficient, slope, creeping, traction, torque_slope
        return thrust * self.inverse_mass, turning, speed, slip, force, thrust, made

    def look(self, place: float, state: list[float]) -> Look:
        """See Alone."""
        return _seen(self.contact(self.normal(self.at(place)[0]), state[0], state[1]))

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """See Alone. v1, u1, f1: the first stage's increments of v, of u and of the force, and so on."""
        at, contact, normal = self.at, self.contact, self.normal
        reach, v, u = GAMMA * size, state[0], state[1]
        where, stretch = at(place)
        pressing = normal(where)
        now = contact(pressing, v, u)
        brief = reach / now[2]
        pace = brief * stretch
        brief *= size
        turned, bent = brief * stretch * stretch, brief * (self.bow + self.bow)
        steepness, along = self._drift(where, pressing, now)
        drift_v, drift_u = turned * along[0] + bent * now[0], turned * along[1] + bent * now[1]
        solve = self._solver(pressing[1], now, steepness, pace)
        v1, u1, f1 = solve(pace * now[0] + DRIFT1 * drift_v, pace * now[1] + DRIFT1 * drift_u)
        where, stretch = at(place + PLACE2 * size)
        wheel2 = u + S21 * u1
        at2 = contact(normal(where), v + S21 * v1, wheel2)
        pace2 = reach * stretch / at2[2]
        v2, u2, f2 = solve(pace2 * at2[0] + DRIFT2 * drift_v + K21 * v1, pace2 * at2[1] + DRIFT2 * drift_u + K21 * u1)
        where, stretch = at(place + PLACE3 * size)
        wheel3 = u + S31 * u1 + S32 * u2
        at3 = contact(normal(where), v + S31 * v1 + S32 * v2, wheel3)
        pace3 = reach * stretch / at3[2]
        known = pace3 * at3[0] + DRIFT3 * drift_v + K31 * v1 + K32 * v2
        v3, u3, f3 = solve(known, pace3 * at3[1] + DRIFT3 * drift_u + K31 * u1 + K32 * u2)
        where, stretch = at(place + PLACE4 * size)
        wheel4 = u + S41 * u1 + S42 * u2 + S43 * u3
        at4 = contact(normal(where), v + S41 * v1 + S42 * v2 + S43 * v3, wheel4)
        pace4 = reach * stretch / at4[2]
        known = pace4 * at4[0] + DRIFT4 * drift_v + K41 * v1 + K42 * v2 + K43 * v3
        v4, u4, f4 = solve(known, pace4 * at4[1] + DRIFT4 * drift_u + K41 * u1 + K42 * u2 + K43 * u3)
        stages = (
            (pace, now, u, v1, u1, f1), (pace2, at2, wheel2, v2, u2, f2), (pace3, at3, wheel3, v3, u3, f3),
            (pace4, at4, wheel4, v4, u4, f4),
        )  # fmt: skip
        five, six, fresh = self._end(place + size, reach, v, u, stages, solve)
        if self.books:
            fresh += _books(state[2:], (*stages, five, six), pressing[1], along, turned, bent)
        thrust = max(abs(at2[5]), abs(at3[5]), abs(at4[5]))
        power = max(at2[4] * at2[3], at3[4] * at3[3], at4[4] * at4[3])
        return _seen(now), fresh, (abs(six[3]), 0.0, abs(six[4])), (thrust, power)

    def _end(
        self, parameter: float, reach: float, v: float, u: float, stages: tuple[Stage, ...], solve: Solve
    ) -> tuple[Stage, Stage, list[float]]:
        """The last two stages, both at the step's end, and the state there; `stages`: those before."""
        (_, _, _, v1, u1, _), (_, _, _, v2, u2, _), (_, _, _, v3, u3, _), (_, _, _, v4, u4, _) = stages
        where, stretch = self.at(parameter)
        pressing = self.normal(where)
        reach *= stretch
        v = v + S51 * v1 + S52 * v2 + S53 * v3 + S54 * v4
        u = u + S51 * u1 + S52 * u2 + S53 * u3 + S54 * u4
        at5 = self.contact(pressing, v, u)
        pace5 = reach / at5[2]
        known = pace5 * at5[0] + K51 * v1 + K52 * v2 + K53 * v3 + K54 * v4
        v5, u5, f5 = solve(known, pace5 * at5[1] + K51 * u1 + K52 * u2 + K53 * u3 + K54 * u4)
        # The last stage's state is the one before plus the part before.
        v, wheel = v + v5, u + u5
        at6 = self.contact(pressing, v, wheel)
        pace6 = reach / at6[2]
        known = pace6 * at6[0] + K61 * v1 + K62 * v2 + K63 * v3 + K64 * v4 + K65 * v5
        v6, u6, f6 = solve(known, pace6 * at6[1] + K61 * u1 + K62 * u2 + K63 * u3 + K64 * u4 + K65 * u5)
        return (pace5, at5, u, v5, u5, f5), (pace6, at6, wheel, v6, u6, f6), [v + v6, wheel + u6]

    def _solver(self, cosine: float, now: Contact, steepness: float, pace: float) -> Solve:
        """Solves (1 − t·J) U = ρ for the increments of v, u and the force; see `Implicit`."""
        faster_rate, turning, speed, *_, (_, _, _, _, torque_slope) = now
        per_speed = pace / speed
        slowing = 1.0 / (per_speed * faster_rate + 1.0)
        damping = 1.0 / (1.0 - pace * self.gain * torque_slope)
        wheel_gain = pace * self.brake * damping
        wheel_by_speed = per_speed * turning * damping
        speed_gain = cosine * (slowing * pace * self.inverse_mass)
        slip_by_speed = -(wheel_by_speed + cosine)
        force_gain = steepness / (1.0 - (slip_by_speed * speed_gain + wheel_gain) * steepness)

        def solve(known: float, wheel: float) -> tuple[float, float, float]:
            known *= slowing
            wheel *= damping
            force = (slip_by_speed * known + wheel) * force_gain
            faster = speed_gain * force + known
            return faster, wheel - wheel_by_speed * faster + wheel_gain * force, force

        return solve

    def _drift(self, offset: float, pressing: Pressing, now: Contact) -> tuple[float, Along]:
        """Slope of the force by slip, and what changes along the way."""
        normal, cosine, sine, _ = pressing
        _, _, speed, _, pressed, _, (coefficient, slope, creeping, traction, _) = now
        steepness = normal * (slope * abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep)
        steeper, opening, _, push = self.change(offset, normal, cosine, sine)
        slip = -(speed * opening)
        force = steeper * traction + steepness * slip
        thrust = force * cosine + pressed * opening + push
        return steepness, (thrust * self.inverse_mass, force * self.brake, force, slip)


def _books(
    start: list[float], stages: tuple[Stage, ...], cosine: float, along: Along, turned: float, bent: float
) -> list[float]:
    """Contact time, work and heat at the end of a step; see `Books`; cosine: cos φ at its start."""
    time = worked = heated = forces = gained = sped = 0.0
    for weight, (quick, at, wheel, faster, turned_by, more) in zip(TOTAL, stages, strict=True):
        share = quick * weight
        time += share
        worked += at[4] * wheel * share
        heated += at[4] * at[3] * share
        forces += weight * more
        gained += weight * faster
        sped += weight * turned_by
    pace, (_, _, speed, slip, force, _, _), u, _, _, _ = stages[0]
    sliding = sped - cosine * gained
    common = TOTAL_DRIFT * bent - pace / speed * gained
    turned = TOTAL_DRIFT * turned
    more = common * force + pace * forces + turned * along[2]
    pressed = pace * force
    work = more * u + pressed * sped
    heat = more * slip + (pressed * sliding + turned * force * along[3])
    return [start[0] + (time + common), start[1] + (worked + work), start[2] + (heated + heat)]


def _seen(contact: Contact) -> Look:
    _, _, _, slip, force, thrust, _ = contact
    return abs(thrust), force * slip, slip, slip

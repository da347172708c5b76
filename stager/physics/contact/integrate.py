"""Integrate along the barrel: one step of a linearly implicit method, and steps through a smooth piece of the way.

Rosenbrock method of order 4(3) in six stages, L-stable and stiffly accurate, made for stiff problems with a driven
right side: it keeps its order where creep near sync makes a contact nearly an algebraic condition. RODASP of Steinebach
(1995), as in the codes that go with Hairer and Wanner, Solving Ordinary Differential Equations II, in their transformed
form; the coefficients are as read in OrdinaryDiffEq.jl (Rodas4P), the order is measured by the tests.

A step solves (1 − t·J) K = ρ for the increments K of six stages, J the exact Jacobian. Each side's wheel speed acts on
its own slip alone and is eliminated, so that δF = α + β·δv + σ·δΩ for every side and two equations in δv and δΩ are
left, however many sides there are. Contact time, works and heats act on nothing and are summed at the end.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.physics.compiled import compiled, inlined
from stager.physics.contact.columns import (
    ACCELERATION, BOOKS, BRAKE, BY_SPEED, COSINE, COUPLING, DAMPING, DURATION, FORCE, FORCE_DRIFT, FORCE_SUM, FRESH,
    GAIN, HALF_WIDTH, HEAT, HEAT_SUM, HIGH_SLIP, KNOWN, LOW_SLIP, MASS, MOTOR_STEEP, OFFSET, PART, PULLED, RATE,
    RATE_DRIFT, SHARE, SHARE_COUPLING, SLIP, SLIP_DRIFT, SLIP_OUT, SLIP_POWER, SPEED, SPIN_INERTIA, START,
    START_FORCE, START_RATE, START_SLIP, STEEP, STEPS, STEP_HEAT, STEP_POWER, STEP_WORK, TOLERANCE, TO_SPEED, TO_SPIN,
    TURN, WHEEL, WHEEL_GAIN, WORK, WORK_SUM,
)  # fmt: skip
from stager.physics.contact.equations import LEAST_SPEED, evaluate

GAMMA = 0.25
PLACE = (0.0, 0.75, 0.21, 0.63, 1.0, 1.0)
INSIDE = 3
"""How many of the later stages lie inside the step, not at its end."""
DRIFT = (0.25, -0.5, -0.023504, -0.0362, 0.0, 0.0)
_FIFTH = (-7.170454962423024, -4.741636671481785, -16.31002631330971, -1.062004044111401)
STATE = (
    (),
    (3.0,),
    (1.831036793486759, 0.4955183967433795),
    (2.304376582692669, -0.05249275245743001, -1.176798761832782),
    _FIFTH,
    (*_FIFTH, 1.0),
)
KNOWN_SHARES = (
    (),
    (-12.0,),
    (-8.791795173947035, -2.207865586973518),
    (10.81793056857153, 6.780270611428266, 19.53485944642410),
    (34.19095006749676, 15.49671153725963, 54.74760875964130, 14.16005392148534),
    (34.62605830930532, 15.30084976114473, 56.99955578662667, 18.40807009793095, -5.714285714285717),
)


def _total() -> tuple[float, ...]:
    """Share in the end of a step of what each stage adds to a quantity that acts on nothing."""
    shares = [*STATE[5], 1.0]
    for stage in reversed(range(6)):
        shares[stage] += sum(GAMMA * KNOWN_SHARES[later][stage] * shares[later] for later in range(stage + 1, 6))
    return tuple(shares)


TOTAL = _total()
TOTAL_DRIFT = sum(weight * pull for weight, pull in zip(TOTAL, DRIFT, strict=True))


def _square(rows: tuple[tuple[float, ...], ...], scale: float) -> NDArray[np.float64]:
    table = np.zeros((6, 6))
    for number, row in enumerate(rows):
        table[number, : len(row)] = np.multiply(scale, row)
    return table


MIX, MIX_KNOWN = _square(STATE, 1.0), _square(KNOWN_SHARES, GAMMA)
"""STATE and KNOWN as tables, the latter times GAMMA."""
PLACES, DRIFTS, TOTALS = (np.array(row) for row in (PLACE, DRIFT, TOTAL))


Floats = Any


@inlined
def way(piece: Floats, parameter: float) -> tuple[float, float, float]:
    """Return the place x = low + a τ + b τ² + c τ³ [m] at τ = `parameter` and its first and second derivative."""
    low, a, b, c = piece[0], piece[1], piece[2], piece[3]
    place = low + parameter * (a + parameter * (b + parameter * c))
    return place, a + parameter * (2.0 * b + parameter * 3.0 * c), 2.0 * b + 6.0 * c * parameter


@inlined
def begin(acting: Any, sides: Floats) -> None:
    """Keep what `evaluate` found of each side at the start of a step, for all tries of that step."""
    for j in range(acting.shape[0]):
        i = acting[j]
        sides[i, START_SLIP], sides[i, START_FORCE] = sides[i, SLIP], sides[i, FORCE]
        sides[i, START_RATE] = sides[i, RATE]


@inlined
def step(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, kinds: Any,
    wheel_law: Floats, rail_law: Floats, even: bool, books: bool, piece: Floats, place: float, size: float,
    speed: float, spin: float, start: Floats, parts: Floats,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """Try one step of `size` in the parameter of `piece` from `place`.

    Parameters
    ----------
    acting : indices of the sides that are stepped
    speed, spin : float
        Of the projectile at its start [m/s], [rad/s].
    start : array, shape (4,)
        What `evaluate` returned there.
    parts : array, shape (2, 6)
        Room for the increments of speed and spin.

    Returns
    -------
    speed, spin : float
        At its end; of the wheels in FRESH.
    speed_error, spin_error, wheel_error : float
        Local errors, of the wheels the greatest.
    thrust, time : float
        Greatest force along the barrel within [N], and duration [s]; STEP_WORK, STEP_HEAT [J] of the sides and
        STEP_POWER [W] of the nips likewise.
    """
    inverse_mass, radius = 1.0 / body[MASS], body[HALF_WIDTH]
    turns = body[SPIN_INERTIA] > 0.0 and not even
    spin_gain = radius / body[SPIN_INERTIA] if turns else 0.0
    weight = 2.0 if even else 1.0
    now = max(speed, LEAST_SPEED)
    _, stretch, bow = way(piece, place)
    reach = GAMMA * size
    pace = reach * stretch / now
    turned, bent = reach / now * size * stretch * stretch, reach / now * size * bow
    rate, spin_rate = start[0] * inverse_mass, start[1] * spin_gain
    drift = turned * start[2] * inverse_mass + bent * rate
    spin_drift = turned * start[3] * spin_gain + bent * spin_rate
    per_speed = pace / now
    # Each side's increment of force by those of speed and spin.
    by_speed = by_spin = turn_by_speed = turn_by_spin = 0.0
    above_speed = above_spin = 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        damping = 1.0 / (1.0 - pace * sides[i, GAIN] * sides[i, MOTOR_STEEP])
        gain = pace * sides[i, BRAKE] * damping
        slowing = per_speed * sides[i, START_RATE] * damping
        share = 1.0 / (1.0 - sides[i, STEEP] * gain)
        coupling = share * sides[i, COUPLING]
        share *= sides[i, STEEP]
        above_speed = coupling * above_speed - share * (slowing + sides[i, COSINE])
        above_spin = coupling * above_spin - share * sides[i, TURN] * radius
        sides[i, DAMPING], sides[i, WHEEL_GAIN], sides[i, BY_SPEED], sides[i, SHARE], sides[i, SHARE_COUPLING] = (
            damping, gain, slowing, share, coupling,
        )  # fmt: skip
        sides[i, TO_SPEED], sides[i, TO_SPIN] = above_speed, above_spin
        sides[i, PULLED] = turned * sides[i, RATE_DRIFT] + bent * sides[i, START_RATE]
        by_speed += sides[i, COSINE] * above_speed
        by_spin += sides[i, COSINE] * above_spin
        turn_by_speed += sides[i, TURN] * above_speed
        turn_by_spin += sides[i, TURN] * above_spin
        sides[i, WORK_SUM] = sides[i, HEAT_SUM] = sides[i, FORCE_SUM] = 0.0
    push, twist = weight * pace * inverse_mass, pace * spin_gain
    a, b = 1.0 + per_speed * rate - push * by_speed, -push * by_spin
    c, d = per_speed * spin_rate - twist * turn_by_speed, 1.0 - twist * turn_by_spin
    if not turns:
        b, c, d = 0.0, 0.0, 1.0
    determinant = 1.0 / (a * d - b * c)
    a, b, c, d = a * determinant, b * determinant, c * determinant, d * determinant
    inner, inner_spin = speed, spin
    thrust, turning, share_time, most = start[0], start[1], 0.0, 0.0
    for n in range(count):
        nips[active[n], STEP_POWER] = 0.0
    for number in range(6):
        quick = pace
        if number:
            inner, inner_spin = speed, spin
            for k in range(number):
                inner += MIX[number, k] * parts[0, k]
            if turns:
                for k in range(number):
                    inner_spin += MIX[number, k] * parts[1, k]
            for j in range(acting.shape[0]):
                i = acting[j]
                wheel = sides[i, SPEED]
                for k in range(number):
                    wheel += MIX[number, k] * sides[i, PART + k]
                sides[i, WHEEL] = wheel
            at, stretch, _ = way(piece, place + PLACES[number] * size)
            thrust, turning, _, _ = evaluate(
                active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, at, inner, inner_spin,
                number < 0, number <= INSIDE,
            )  # fmt: skip
            if number <= INSIDE:
                most = max(most, abs(thrust))
            quick = reach * stretch / max(inner, LEAST_SPEED)
        known, known_spin = DRIFTS[number] * drift, DRIFTS[number] * spin_drift
        for k in range(number):
            known += MIX_KNOWN[number, k] * parts[0, k]
        known += quick * thrust * inverse_mass
        if turns:
            for k in range(number):
                known_spin += MIX_KNOWN[number, k] * parts[1, k]
            known_spin += quick * turning * spin_gain
        offset, forward, around = 0.0, 0.0, 0.0
        for j in range(acting.shape[0]):
            i = acting[j]
            wheel = DRIFTS[number] * sides[i, PULLED]
            for k in range(number):
                wheel += MIX_KNOWN[number, k] * sides[i, PART + k]
            wheel = (wheel + quick * sides[i, RATE]) * sides[i, DAMPING]
            offset = sides[i, SHARE] * wheel + sides[i, SHARE_COUPLING] * offset
            sides[i, KNOWN], sides[i, OFFSET] = wheel, offset
            forward += sides[i, COSINE] * offset
            around += sides[i, TURN] * offset
        known += push * forward
        known_spin += twist * around
        gained, gained_spin = d * known - b * known_spin, a * known_spin - c * known
        parts[0, number], parts[1, number] = gained, gained_spin
        total = TOTALS[number]
        share = quick * total
        share_time += share
        for j in range(acting.shape[0]):
            i = acting[j]
            force = sides[i, OFFSET] + sides[i, TO_SPEED] * gained + sides[i, TO_SPIN] * gained_spin
            sides[i, PART + number] = sides[i, KNOWN] + sides[i, WHEEL_GAIN] * force - sides[i, BY_SPEED] * gained
            if books:
                sides[i, WORK_SUM] += sides[i, FORCE] * sides[i, WHEEL] * share
                sides[i, HEAT_SUM] += sides[i, FORCE] * sides[i, SLIP] * share
                sides[i, FORCE_SUM] += total * force
    wheel_error = 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        sides[i, FRESH] = sides[i, WHEEL] + sides[i, PART + 5]
        wheel_error = max(wheel_error, abs(sides[i, PART + 5]))
    time = 0.0
    if books:
        gained = gained_spin = 0.0
        for k in range(6):
            gained += TOTALS[k] * parts[0, k]
            gained_spin += TOTALS[k] * parts[1, k]
        common = TOTAL_DRIFT * bent - per_speed * gained
        time = share_time + common
        for j in range(acting.shape[0]):
            i = acting[j]
            wheel = 0.0
            for k in range(6):
                wheel += TOTALS[k] * sides[i, PART + k]
            slip = wheel - sides[i, COSINE] * gained - sides[i, TURN] * radius * gained_spin
            more = common * sides[i, START_FORCE] + pace * sides[i, FORCE_SUM]
            more += TOTAL_DRIFT * turned * sides[i, FORCE_DRIFT]
            pressed = pace * sides[i, START_FORCE]
            sides[i, STEP_WORK] = sides[i, WORK_SUM] + more * sides[i, SPEED] + pressed * wheel
            sides[i, STEP_HEAT] = sides[i, HEAT_SUM] + more * sides[i, START_SLIP] + pressed * slip
            sides[i, STEP_HEAT] += TOTAL_DRIFT * turned * sides[i, START_FORCE] * sides[i, SLIP_DRIFT]
    fresh_spin = inner_spin + parts[1, 5] if turns else spin
    spin_error = abs(parts[1, 5]) if turns else 0.0
    return inner + parts[0, 5], fresh_spin, abs(parts[0, 5]), spin_error, wheel_error, most, time


FIRST_STEP, LEAST_STEP = 0.1, 1e-6
"""Of the parameter 0 … 1 along a piece."""
STANDSTILL = 1e-5
"""Share of the greater of projectile's and wheels' speed below which the projectile has stopped [-]."""
STILL = 1e-9
"""What a speed is judged by where nothing moves [m/s]."""
SLOW = 1e-4
"""Share of its square below which that greater speed is what the error of a slow projectile is judged by [-]."""
ARRIVED = 1.0 - 1e-12
PATIENCE = 100_000
"""Most steps through one piece."""
SAFETY, LEAST_GROWTH, MOST_GROWTH, AFTER_REFUSAL = 0.9, 0.2, 5.0, 0.8
"""Of a step's size from one to the next."""
THROUGH, STOPPED, LOST = 0, 1, 2
"""How a piece ends; LOST: not within PATIENCE."""


@compiled
def march(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, kinds: Any,
    wheel_law: Floats, rail_law: Floats, even: bool, how: Floats, piece: Floats, speed: float, spin: float,
    start: Floats, parts: Floats,
) -> tuple[float, float, float, int]:  # fmt: skip
    """Take the projectile from `speed` [m/s] and `spin` [rad/s] through `piece`; arguments as `step` has them.

    Parameters
    ----------
    how : array, shape (3,)
        TOLERANCE: local error of a step by speed squared and by speeds [-]; STEPS: number of equal steps instead of
        error control, 0: error control; BOOKS: whether energies are summed.

    Returns
    -------
    speed, spin, place : float
        At its end or where the projectile stopped, `place` in the coordinates of `piece` [m].
    ending : int
        THROUGH, STOPPED or LOST.
    """
    top, tolerance, steps, books = STILL, how[TOLERANCE], how[STEPS], how[BOOKS] > 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        top = max(top, sides[i, START])
    place, size, refused, fresh = 0.0, FIRST_STEP, False, True
    yes = tolerance > 0.0  # Not a literal, for each of which the compiler would make its own `evaluate`.
    if steps > 0.0:
        size = 1.0 / steps
    for _ in range(PATIENCE):
        size = min(size, 1.0 - place)
        if fresh:
            at, _, _ = way(piece, place)
            for j in range(acting.shape[0]):
                i = acting[j]
                sides[i, WHEEL] = sides[i, SPEED]
            start[0], start[1], start[2], start[3] = evaluate(
                active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, at, speed, spin, yes,
                not yes,
            )  # fmt: skip
            look(active, count, nips, sides, even, abs(start[0]))
            begin(acting, sides)
        else:
            for j in range(acting.shape[0]):
                i = acting[j]
                restore(sides, i)
        after, after_spin, speed_error, spin_error, wheel_error, thrust, time = step(
            acting, active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, books, piece, place,
            size, speed, spin, start, parts,
        )  # fmt: skip
        fresh = False
        scale = max(speed, top)
        if not after > scale * STANDSTILL:
            if steps > 0.0 or size <= LEAST_STEP:
                return speed, spin, way(piece, place)[0], STOPPED
            size *= 0.25
            refused = True
            continue
        ratio = 2.0 * speed * speed_error / (speed * speed + SLOW * scale * scale)
        ratio = max(ratio, wheel_error / scale, body[HALF_WIDTH] * spin_error / scale) / tolerance
        growth = LEAST_GROWTH
        if ratio < 1e-12:
            growth = MOST_GROWTH
        elif ratio == ratio:
            growth = min(max(SAFETY * ratio**-0.25, LEAST_GROWTH), MOST_GROWTH)
        if steps == 0.0 and not ratio <= 1.0:
            size *= min(growth, AFTER_REFUSAL)
            refused = True
            continue
        speed, spin, place, fresh = after, after_spin, place + size, True
        for n in range(count):
            k = active[n]
            nips[k, DURATION] += time
            nips[k, ACCELERATION] = max(nips[k, ACCELERATION], thrust)
            nips[k, SLIP_POWER] = max(nips[k, SLIP_POWER], nips[k, STEP_POWER])
        for j in range(acting.shape[0]):
            i = acting[j]
            sides[i, SPEED] = sides[i, FRESH]
            if books:
                sides[i, WORK] += sides[i, STEP_WORK]
                sides[i, HEAT] += sides[i, STEP_HEAT]
        if place >= ARRIVED:
            at, _, _ = way(piece, 1.0)
            for j in range(acting.shape[0]):
                i = acting[j]
                sides[i, WHEEL] = sides[i, SPEED]
            thrust, _, _, _ = evaluate(
                active, count, pieces, nips, sides, body, kinds, wheel_law, rail_law, even, at, speed, spin, not yes,
                not yes,
            )  # fmt: skip
            look(active, count, nips, sides, even, abs(thrust))
            return speed, spin, at, THROUGH
        if steps == 0.0:
            size *= min(growth, 1.0) if refused else growth
        refused = False
    return speed, spin, way(piece, place)[0], LOST


@inlined
def restore(sides: Floats, i: int) -> None:
    """Put a side back to the start of a step that was refused."""
    sides[i, WHEEL], sides[i, SLIP], sides[i, FORCE], sides[i, RATE] = (
        sides[i, SPEED], sides[i, START_SLIP], sides[i, START_FORCE], sides[i, START_RATE],
    )  # fmt: skip


@inlined
def look(active: Any, count: int, nips: Floats, sides: Floats, even: bool, thrust: float) -> None:
    """Take in what `evaluate` has found at one place: greatest force [N], slip power [W] and slips of side A."""
    for n in range(count):
        k = active[n]
        slip = sides[2 * k, SLIP]
        power = sides[2 * k, FORCE] * slip
        power += power if even else sides[2 * k + 1, FORCE] * sides[2 * k + 1, SLIP]
        nips[k, ACCELERATION], nips[k, SLIP_POWER] = max(nips[k, ACCELERATION], thrust), max(nips[k, SLIP_POWER], power)
        nips[k, LOW_SLIP], nips[k, HIGH_SLIP] = min(nips[k, LOW_SLIP], slip), max(nips[k, HIGH_SLIP], slip)
        nips[k, SLIP_OUT] = slip

"""Integrate along the barrel: one step of a linearly implicit method, and all steps through a smooth piece.

The method is RODASP of Steinebach (1995), a Rosenbrock method of order 4(3) in six stages, L-stable and stiffly
accurate, which keeps its order where creep makes a contact nearly an algebraic condition. Coefficients in the
transformed form of the codes of Hairer and Wanner, Solving Ordinary Differential Equations II, as read in
OrdinaryDiffEq.jl (Rodas4P); the tests measure the order.

A step solves (1 − t·J) K = ρ for the increments K of six stages, J the exact Jacobian. Each side's wheel speed acts
only on its own slip and is eliminated: δF = α + β·δv + σ·δΩ for every side leaves two equations in δv and δΩ for any
number of sides. Contact time, works, heats and the motors' impulses do not act back and are summed at the end.
"""

from __future__ import annotations

from math import copysign, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.physics.compiled import compiled, inlined
from stager.physics.contact.columns import (
    ACCELERATION, BRAKE, BY_SPEED, COSINE, COUPLING, DAMPING, DURATION, FORCE, FORCE_BY_PLACE, FORCE_BY_SLIP, FORCE_SUM,
    FRESH, GAIN, HALF_WIDTH, HEAT, HEAT_SUM, HIGH_SLIP, IMPULSE, IMPULSE_SUM, KNOWN, LOW, LOW_SLIP, MASS, OFFSET, PART,
    PULLED, RATE, RATE_BY_PLACE, SHARE, SHARE_COUPLING, SLIP, SLIP_BY_PLACE, SLIP_OUT, SPEED, SPIN_INERTIA, SQUARE,
    SQUARE_SUM, START, START_FORCE, START_RATE, START_SLIP, STEPS, STEP_HEAT, STEP_IMPULSE, STEP_SQUARE, STEP_WORK,
    SUM_ENERGIES, TOLERANCE, TOP, TORQUE_BY_SPEED, TO_SPEED, TO_SPIN, TURN, WHEEL, WHEEL_GAIN, WORK, WORK_SUM,
)  # fmt: skip
from stager.physics.contact.equations import LEAST_SPEED, evaluate, motor

GAMMA = 0.25
"""Diagonal coefficient of the method [-]."""
PLACE = (0.0, 0.75, 0.21, 0.63, 1.0, 1.0)
"""Place of each stage within the step [-]."""
LAST_INSIDE = 3
"""The last stage inside the step; later ones are at its end."""
EXPLICIT = (0.25, -0.5, -0.023504, -0.0362, 0.0, 0.0)
_FIFTH = (-7.170454962423024, -4.741636671481785, -16.31002631330971, -1.062004044111401)
STATE = (
    (),
    (3.0,),
    (1.831036793486759, 0.4955183967433795),
    (2.304376582692669, -0.05249275245743001, -1.176798761832782),
    _FIFTH,
    (*_FIFTH, 1.0),
)
"""Share of each earlier increment in the state of a stage [-]."""
KNOWN_SHARES = (
    (),
    (-12.0,),
    (-8.791795173947035, -2.207865586973518),
    (10.81793056857153, 6.780270611428266, 19.53485944642410),
    (34.19095006749676, 15.49671153725963, 54.74760875964130, 14.16005392148534),
    (34.62605830930532, 15.30084976114473, 56.99955578662667, 18.40807009793095, -5.714285714285717),
)


"""Share of each earlier increment in the right side of a stage [-]."""


def _total() -> tuple[float, ...]:
    """Return the weight of each stage in the integral of a quantity that does not act back."""
    shares = [*STATE[5], 1.0]
    for stage in reversed(range(6)):
        shares[stage] += sum(GAMMA * KNOWN_SHARES[later][stage] * shares[later] for later in range(stage + 1, 6))
    return tuple(shares)


TOTAL = _total()
TOTAL_EXPLICIT = sum(weight * pull for weight, pull in zip(TOTAL, EXPLICIT, strict=True))


def _square(rows: tuple[tuple[float, ...], ...], scale: float) -> NDArray[np.float64]:
    table = np.zeros((6, 6))
    for number, row in enumerate(rows):
        table[number, : len(row)] = np.multiply(scale, row)
    return table


MIX, MIX_KNOWN = _square(STATE, 1.0), _square(KNOWN_SHARES, GAMMA)
"""STATE and KNOWN_SHARES as tables, the latter times GAMMA."""
PLACES, EXPLICIT_TABLE, TOTALS = (np.array(row) for row in (PLACE, EXPLICIT, TOTAL))


Floats = Any


@inlined
def position(piece: Floats, parameter: float) -> tuple[float, float, float]:
    """Return x = low + a τ + b τ² + c τ³ [m] at τ = `parameter`, and its first and second derivative."""
    low, a, b, c = piece[0], piece[1], piece[2], piece[3]
    place = low + parameter * (a + parameter * (b + parameter * c))
    return place, a + parameter * (2.0 * b + parameter * 3.0 * c), 2.0 * b + 6.0 * c * parameter


@inlined
def save_start(acting: Any, sides: Floats) -> None:
    """Save the results of `evaluate` for each side at the start of a step, for repetitions of that step."""
    for j in range(acting.shape[0]):
        i = acting[j]
        sides[i, START_SLIP], sides[i, START_FORCE] = sides[i, SLIP], sides[i, FORCE]
        sides[i, START_RATE] = sides[i, RATE]


@inlined
def step(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, law_numbers: Any,
    wheel_law: Floats, rail_law: Floats, symmetric: bool, energies: bool, piece: Floats, place: float, size: float,
    speed: float, spin: float, start: Floats, parts: Floats,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """Compute one step of `size` in the parameter of `piece` from `place`.

    Parameters
    ----------
    acting : array of int
        Sides that are integrated.
    speed, spin : float
        Of the projectile at its start [m/s], [rad/s].
    start : array, shape (4,)
        Result of `evaluate` there.
    parts : array, shape (2, 6)
        Workspace for the increments of speed and spin.

    Returns
    -------
    speed, spin : float
        At its end; speeds of the wheels are in FRESH.
    speed_error, spin_error, wheel_error : float
        Local errors; the greatest over the wheels.
    thrust, time : float
        Greatest force along the barrel at the stages within the step [N], and its duration [s]. STEP_WORK, STEP_HEAT
        [J], STEP_IMPULSE, STEP_SQUARE of the sides are written to the array.
    """
    inverse_mass, radius = 1.0 / body[MASS], body[HALF_WIDTH]
    turns = body[SPIN_INERTIA] > 0.0 and not symmetric
    spin_gain = radius / body[SPIN_INERTIA] if turns else 0.0
    weight = 2.0 if symmetric else 1.0
    now = max(speed, LEAST_SPEED)
    _, place_slope, place_bend = position(piece, place)
    reach = GAMMA * size
    pace = reach * place_slope / now
    turned, bent = reach / now * size * place_slope * place_slope, reach / now * size * place_bend
    rate, spin_rate = start[0] * inverse_mass, start[1] * spin_gain
    explicit = turned * start[2] * inverse_mass + bent * rate
    spin_explicit = turned * start[3] * spin_gain + bent * spin_rate
    per_speed = pace / now
    # Each side's increment of force by those of speed and spin.
    by_speed = by_spin = turn_by_speed = turn_by_spin = 0.0
    above_speed = above_spin = 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        damping = 1.0 / (1.0 - pace * sides[i, GAIN] * sides[i, TORQUE_BY_SPEED])
        gain = pace * sides[i, BRAKE] * damping
        slowing = per_speed * sides[i, START_RATE] * damping
        share = 1.0 / (1.0 - sides[i, FORCE_BY_SLIP] * gain)
        coupling = share * sides[i, COUPLING]
        share *= sides[i, FORCE_BY_SLIP]
        above_speed = coupling * above_speed - share * (slowing + sides[i, COSINE])
        above_spin = coupling * above_spin - share * sides[i, TURN] * radius
        sides[i, DAMPING], sides[i, WHEEL_GAIN], sides[i, BY_SPEED], sides[i, SHARE], sides[i, SHARE_COUPLING] = (
            damping, gain, slowing, share, coupling,
        )  # fmt: skip
        sides[i, TO_SPEED], sides[i, TO_SPIN] = above_speed, above_spin
        sides[i, PULLED] = turned * sides[i, RATE_BY_PLACE] + bent * sides[i, START_RATE]
        by_speed += sides[i, COSINE] * above_speed
        by_spin += sides[i, COSINE] * above_spin
        turn_by_speed += sides[i, TURN] * above_speed
        turn_by_spin += sides[i, TURN] * above_spin
        sides[i, WORK_SUM] = sides[i, HEAT_SUM] = sides[i, FORCE_SUM] = 0.0
        sides[i, IMPULSE_SUM] = sides[i, SQUARE_SUM] = 0.0
    push, twist = weight * pace * inverse_mass, pace * spin_gain
    a, b = 1.0 + per_speed * rate - push * by_speed, -push * by_spin
    c, d = per_speed * spin_rate - twist * turn_by_speed, 1.0 - twist * turn_by_spin
    if not turns:
        b, c, d = 0.0, 0.0, 1.0
    determinant = 1.0 / (a * d - b * c)
    a, b, c, d = a * determinant, b * determinant, c * determinant, d * determinant
    inner, inner_spin = speed, spin
    thrust, turning, share_time, most = start[0], start[1], 0.0, 0.0
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
            at, place_slope, _ = position(piece, place + PLACES[number] * size)
            thrust, turning, _, _ = evaluate(
                active, count, pieces, nips, sides, body, law_numbers, wheel_law, rail_law, symmetric, at, inner,
                inner_spin, number < 0,
            )  # fmt: skip
            if number <= LAST_INSIDE:
                most = max(most, abs(thrust))
            quick = reach * place_slope / max(inner, LEAST_SPEED)
        known, known_spin = EXPLICIT_TABLE[number] * explicit, EXPLICIT_TABLE[number] * spin_explicit
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
            wheel = EXPLICIT_TABLE[number] * sides[i, PULLED]
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
            if energies:
                sides[i, WORK_SUM] += sides[i, FORCE] * sides[i, WHEEL] * share
                sides[i, HEAT_SUM] += sides[i, FORCE] * sides[i, SLIP] * share
                sides[i, FORCE_SUM] += total * force
                torque, _ = motor(sides, i, sides[i, WHEEL])
                sides[i, IMPULSE_SUM] += torque * share
                sides[i, SQUARE_SUM] += torque * torque * share
    wheel_error = 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        sides[i, FRESH] = sides[i, WHEEL] + sides[i, PART + 5]
        wheel_error = max(wheel_error, abs(sides[i, PART + 5]))
    time = 0.0
    if energies:
        gained = gained_spin = 0.0
        for k in range(6):
            gained += TOTALS[k] * parts[0, k]
            gained_spin += TOTALS[k] * parts[1, k]
        common = TOTAL_EXPLICIT * bent - per_speed * gained
        time = share_time + common
        for j in range(acting.shape[0]):
            i = acting[j]
            wheel = 0.0
            for k in range(6):
                wheel += TOTALS[k] * sides[i, PART + k]
            slip = wheel - sides[i, COSINE] * gained - sides[i, TURN] * radius * gained_spin
            more = common * sides[i, START_FORCE] + pace * sides[i, FORCE_SUM]
            more += TOTAL_EXPLICIT * turned * sides[i, FORCE_BY_PLACE]
            pressed = pace * sides[i, START_FORCE]
            sides[i, STEP_WORK] = sides[i, WORK_SUM] + more * sides[i, SPEED] + pressed * wheel
            sides[i, STEP_HEAT] = sides[i, HEAT_SUM] + more * sides[i, START_SLIP] + pressed * slip
            sides[i, STEP_HEAT] += TOTAL_EXPLICIT * turned * sides[i, START_FORCE] * sides[i, SLIP_BY_PLACE]
            torque, torque_slope = motor(sides, i, sides[i, SPEED])
            sides[i, STEP_IMPULSE] = sides[i, IMPULSE_SUM] + common * torque + pace * torque_slope * wheel
            change = torque * (common * torque + 2.0 * pace * torque_slope * wheel)
            sides[i, STEP_SQUARE] = sides[i, SQUARE_SUM] + change
    fresh_spin = inner_spin + parts[1, 5] if turns else spin
    spin_error = abs(parts[1, 5]) if turns else 0.0
    return inner + parts[0, 5], fresh_spin, abs(parts[0, 5]), spin_error, wheel_error, most, time


FIRST_STEP = 0.1
"""First step, of the parameter 0 … 1 along a piece [-]."""
LEAST_STEP = 1e-6
"""Smallest step, of the same parameter [-]."""
STANDSTILL = 1e-5
"""Speed of the projectile, by the greater of its and the wheels' speed, below which it has stopped [-]."""
LEAST_SCALE = 1e-9
"""Least speed that errors are relative to [m/s]."""
SLOW = 1e-4
"""Least scale of the error of speed squared, by the square of the greater of projectile's and wheels' speed [-]."""
ARRIVED = 1.0 - 1e-12
"""Parameter at which a piece is complete [-]."""
MAX_STEPS = 100_000
"""Most steps through one piece."""
SAFETY = 0.9
"""Next step by the one that the error estimate allows [-]."""
LEAST_GROWTH = 0.2
"""Least factor from one step to the next [-]."""
MAX_GROWTH = 5.0
"""Greatest factor from one step to the next [-]."""
AFTER_REFUSAL = 0.8
"""Greatest factor after a refused step [-]."""
THROUGH = 0
"""A piece ends: the projectile is through."""
STOPPED = 1
"""A piece ends: the projectile has stopped."""
LOST = 2
"""A piece ends: MAX_STEPS did not suffice."""


@compiled
def integrate_piece(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, law_numbers: Any,
    wheel_law: Floats, rail_law: Floats, symmetric: bool, options: Floats, piece: Floats, speed: float, spin: float,
    start: Floats, parts: Floats,
) -> tuple[float, float, float, int]:  # fmt: skip
    """Integrate from `speed` [m/s] and `spin` [rad/s] through `piece`; arguments as in `step`.

    Parameters
    ----------
    options : array, shape (3,)
        TOLERANCE: local error of a step by speed squared and by speeds [-]; STEPS: number of equal steps instead of
        error control, 0: error control; SUM_ENERGIES: whether energies are summed.

    Returns
    -------
    speed, spin, place : float
        At its end, or where the projectile stopped; `place` in the coordinates of `piece` [m].
    ending : int
        THROUGH, STOPPED or LOST.
    """
    top, tolerance, steps, energies = LEAST_SCALE, options[TOLERANCE], options[STEPS], options[SUM_ENERGIES] > 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        top = max(top, sides[i, START])
    place, size, refused, fresh = 0.0, FIRST_STEP, False, True
    before = before_slope = fades = behind = inside = 0.0
    yes = tolerance > 0.0  # A literal would make the compiler compile another `evaluate`.
    if steps > 0.0:
        size = 1.0 / steps
    for _ in range(MAX_STEPS):
        size = min(size, 1.0 - place)
        if fresh:
            arrived = place >= ARRIVED
            at, pace, _ = position(piece, 1.0 if arrived else place)
            for j in range(acting.shape[0]):
                i = acting[j]
                sides[i, WHEEL] = sides[i, SPEED]
            start[0], start[1], start[2], start[3] = evaluate(
                active, count, pieces, nips, sides, body, law_numbers, wheel_law, rail_law, symmetric, at, speed,
                spin, yes,
            )  # fmt: skip
            slope, fading = along(acting, sides, body, symmetric, speed, start)
            slope, fading = pace * slope, pace * fading
            stiff = max(fades, fading) * behind > STIFF
            thrust = greatest(before, before_slope, start[0], slope, behind, inside if stiff else np.inf)
            record_extremes(active, count, nips, sides, thrust)
            if arrived:
                return speed, spin, at, THROUGH
            before, before_slope, fades = start[0], slope, fading
            save_start(acting, sides)
        else:
            for j in range(acting.shape[0]):
                i = acting[j]
                restore_start(sides, i)
        after, after_spin, speed_error, spin_error, wheel_error, inside, time = step(
            acting, active, count, pieces, nips, sides, body, law_numbers, wheel_law, rail_law, symmetric, energies,
            piece, place, size, speed, spin, start, parts,
        )  # fmt: skip
        fresh = False
        scale = max(speed, top)
        if not after > scale * STANDSTILL:
            if steps > 0.0 or size <= LEAST_STEP:
                return speed, spin, position(piece, place)[0], STOPPED
            size *= 0.25
            refused = True
            continue
        ratio = 2.0 * speed * speed_error / (speed * speed + SLOW * scale * scale)
        ratio = max(ratio, wheel_error / scale, body[HALF_WIDTH] * spin_error / scale) / tolerance
        growth = LEAST_GROWTH
        if ratio < 1e-12:
            growth = MAX_GROWTH
        elif ratio == ratio:
            growth = min(max(SAFETY * ratio**-0.25, LEAST_GROWTH), MAX_GROWTH)
        if steps == 0.0 and not ratio <= 1.0:
            size *= min(growth, AFTER_REFUSAL)
            refused = True
            continue
        speed, spin, place, behind, fresh = after, after_spin, place + size, size, True
        for n in range(count):
            nips[active[n], DURATION] += time
        for j in range(acting.shape[0]):
            i = acting[j]
            sides[i, SPEED] = sides[i, FRESH]
            sides[i, TOP], sides[i, LOW] = max(sides[i, TOP], sides[i, FRESH]), min(sides[i, LOW], sides[i, FRESH])
            if energies:
                sides[i, WORK] += sides[i, STEP_WORK]
                sides[i, HEAT] += sides[i, STEP_HEAT]
                sides[i, IMPULSE] += sides[i, STEP_IMPULSE]
                sides[i, SQUARE] += sides[i, STEP_SQUARE]
        if steps == 0.0:
            size *= min(growth, 1.0) if refused else growth
        refused = False
    return speed, spin, position(piece, place)[0], LOST


@inlined
def along(
    acting: Any, sides: Floats, body: Floats, symmetric: bool, speed: float, start: Floats
) -> tuple[float, float]:
    """Return the derivative of the force along the barrel by the place of the projectile on its way [N/m].

    After `evaluate` with slopes, whose results are `start`. Also the share by which slips fade within a length [1/m].
    """
    inverse, radius, spin_gain = 1.0 / max(speed, LEAST_SPEED), body[HALF_WIDTH], 0.0
    if body[SPIN_INERTIA] > 0.0 and not symmetric:
        spin_gain = radius * radius / body[SPIN_INERTIA] * inverse
    gain = inverse / body[MASS]
    found, change, fading = start[2], 0.0, 0.0
    for j in range(acting.shape[0]):
        i = acting[j]
        weight = (2.0 if symmetric else 1.0) * sides[i, COSINE]
        turned = sides[i, TURN] * spin_gain
        slip_change = sides[i, RATE] * inverse - sides[i, COSINE] * start[0] * gain - turned * start[1]
        change = sides[i, FORCE_BY_SLIP] * slip_change + sides[i, COUPLING] * change
        found += weight * change
        follows = weight * sides[i, COSINE] * gain + sides[i, TURN] * turned - sides[i, BRAKE] * inverse
        fading += abs(sides[i, FORCE_BY_SLIP]) * follows
    return found, fading


STIFF = 4.0
"""Share by which slips fade in a step above which slopes at its ends tell less of the force within it [-]."""


@inlined
def greatest(before: float, before_slope: float, now: float, slope: float, size: float, cap: float) -> float:
    """Return the greatest absolute value of a cubic over a step, by its values and slopes at both ends.

    Only where it rises at one end and falls at the other is it greatest between them; there it is at most `cap`.
    """
    most = max(abs(before), abs(now))
    rise, fall = before_slope * size, slope * size
    if rise * fall < 0.0:
        bend, twist = 3.0 * (now - before) - 2.0 * rise - fall, rise + fall - 2.0 * (now - before)
        root = sqrt(bend * bend - 3.0 * twist * rise)
        place = -rise / (bend + copysign(root, bend))
        if not 0.0 <= place <= 1.0:
            place = -(bend + copysign(root, bend)) / (3.0 * twist)
        most = max(most, min(abs(before + place * (rise + place * (bend + place * twist))), cap))
    return most


@inlined
def restore_start(sides: Floats, i: int) -> None:
    """Restore a side to the start of a refused step."""
    sides[i, WHEEL], sides[i, SLIP], sides[i, FORCE], sides[i, RATE] = (
        sides[i, SPEED], sides[i, START_SLIP], sides[i, START_FORCE], sides[i, START_RATE],
    )  # fmt: skip


@inlined
def record_extremes(active: Any, count: int, nips: Floats, sides: Floats, thrust: float) -> None:
    """Update the extremes of each nip after `evaluate`: greatest force [N], slips of side A [m/s]."""
    for n in range(count):
        k = active[n]
        slip = sides[2 * k, SLIP]
        nips[k, ACCELERATION] = max(nips[k, ACCELERATION], thrust)
        nips[k, LOW_SLIP], nips[k, HIGH_SLIP] = min(nips[k, LOW_SLIP], slip), max(nips[k, HIGH_SLIP], slip)
        nips[k, SLIP_OUT] = slip

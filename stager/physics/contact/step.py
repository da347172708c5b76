"""One step of the linearly implicit method.

A step solves (1 − t·J) K = ρ for the increments K of six stages, J the exact Jacobian. Each side's wheel speed acts on
its own slip alone and is eliminated, so that δF = α + β·δv + σ·δΩ for every side and two equations in δv and δΩ are
left, however many sides there are. Contact time, works and heats act on nothing and are summed at the end.
"""

from __future__ import annotations

from typing import Any

from stager.physics.compiled import compiled
from stager.physics.contact.columns import (
    BRAKE,
    BY_SPEED,
    COSINE,
    COUPLING,
    DAMPING,
    FORCE,
    FORCE_DRIFT,
    FORCE_SUM,
    FRESH,
    GAIN,
    HALF_WIDTH,
    HEAT_SUM,
    KNOWN,
    MASS,
    MOTOR_STEEP,
    OFFSET,
    PART,
    PULLED,
    RATE,
    RATE_DRIFT,
    SHARE,
    SHARE_COUPLING,
    SLIP,
    SLIP_DRIFT,
    SPEED,
    SPIN_INERTIA,
    START_FORCE,
    START_RATE,
    START_SLIP,
    STEEP,
    STEP_HEAT,
    STEP_POWER,
    STEP_WORK,
    TO_SPEED,
    TO_SPIN,
    TURN,
    WHEEL,
    WHEEL_GAIN,
    WORK_SUM,
)  # fmt: skip
from stager.physics.contact.equations import LEAST_SPEED, evaluate
from stager.physics.contact.scheme import DRIFTS, GAMMA, INSIDE, MIX, MIX_KNOWN, PLACES, TOTAL_DRIFT, TOTALS

Floats = Any


@compiled
def way(piece: Floats, parameter: float) -> tuple[float, float, float]:
    """Return the place x = low + a τ + b τ² + c τ³ [m] at τ = `parameter` and its first and second derivative."""
    low, a, b, c = piece[0], piece[1], piece[2], piece[3]
    place = low + parameter * (a + parameter * (b + parameter * c))
    return place, a + parameter * (2.0 * b + parameter * 3.0 * c), 2.0 * b + 6.0 * c * parameter


@compiled
def begin(acting: Any, sides: Floats) -> None:
    """Keep what `evaluate` found of each side at the start of a step, for all tries of that step."""
    for i in acting:
        side = sides[i]
        side[START_SLIP], side[START_FORCE], side[START_RATE] = side[SLIP], side[FORCE], side[RATE]


@compiled
def step(
    acting: Any, active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, kinds: Any,
    laws: Floats, even: bool, books: bool, piece: Floats, place: float, size: float, speed: float, spin: float,
    start: Floats, parts: Floats,
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
    for i in acting:
        side = sides[i]
        damping = 1.0 / (1.0 - pace * side[GAIN] * side[MOTOR_STEEP])
        gain = pace * side[BRAKE] * damping
        slowing = per_speed * side[START_RATE] * damping
        share = 1.0 / (1.0 - side[STEEP] * gain)
        coupling = share * side[COUPLING]
        share *= side[STEEP]
        above_speed = coupling * above_speed - share * (slowing + side[COSINE])
        above_spin = coupling * above_spin - share * side[TURN] * radius
        side[DAMPING], side[WHEEL_GAIN], side[BY_SPEED], side[SHARE], side[SHARE_COUPLING] = (
            damping, gain, slowing, share, coupling,
        )  # fmt: skip
        side[TO_SPEED], side[TO_SPIN] = above_speed, above_spin
        side[PULLED] = turned * side[RATE_DRIFT] + bent * side[START_RATE]
        by_speed += side[COSINE] * above_speed
        by_spin += side[COSINE] * above_spin
        turn_by_speed += side[TURN] * above_speed
        turn_by_spin += side[TURN] * above_spin
        side[WORK_SUM] = side[HEAT_SUM] = side[FORCE_SUM] = 0.0
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
                    inner_spin += MIX[number, k] * parts[1, k]
            for i in acting:
                side = sides[i]
                wheel = side[SPEED]
                for k in range(number):
                    wheel += MIX[number, k] * side[PART + k]
                side[WHEEL] = wheel
            at, stretch, _ = way(piece, place + PLACES[number] * size)
            thrust, turning, _, _ = evaluate(
                active, count, pieces, nips, sides, body, kinds, laws, even, at, inner, inner_spin, False,
                0 < number <= INSIDE,
            )  # fmt: skip
            if number <= INSIDE:
                most = max(most, abs(thrust))
            quick = reach * stretch / max(inner, LEAST_SPEED)
        known = quick * thrust * inverse_mass + DRIFTS[number] * drift
        known_spin = quick * turning * spin_gain + DRIFTS[number] * spin_drift
        for k in range(number):
            known += MIX_KNOWN[number, k] * parts[0, k]
            if turns:
                known_spin += MIX_KNOWN[number, k] * parts[1, k]
        offset, forward, around = 0.0, 0.0, 0.0
        for i in acting:
            side = sides[i]
            wheel = quick * side[RATE] + DRIFTS[number] * side[PULLED]
            for k in range(number):
                wheel += MIX_KNOWN[number, k] * side[PART + k]
            wheel *= side[DAMPING]
            offset = side[SHARE] * wheel + side[SHARE_COUPLING] * offset
            side[KNOWN], side[OFFSET] = wheel, offset
            forward += side[COSINE] * offset
            around += side[TURN] * offset
        known += push * forward
        known_spin += twist * around
        gained, gained_spin = d * known - b * known_spin, a * known_spin - c * known
        parts[0, number], parts[1, number] = gained, gained_spin
        total = TOTALS[number]
        share = quick * total
        share_time += share
        for i in acting:
            side = sides[i]
            force = side[OFFSET] + side[TO_SPEED] * gained + side[TO_SPIN] * gained_spin
            side[PART + number] = side[KNOWN] + side[WHEEL_GAIN] * force - side[BY_SPEED] * gained
            if books:
                side[WORK_SUM] += side[FORCE] * side[WHEEL] * share
                side[HEAT_SUM] += side[FORCE] * side[SLIP] * share
                side[FORCE_SUM] += total * force
    wheel_error = 0.0
    for i in acting:
        side = sides[i]
        side[FRESH] = side[WHEEL] + side[PART + 5]
        wheel_error = max(wheel_error, abs(side[PART + 5]))
    time = 0.0
    if books:
        gained = gained_spin = 0.0
        for k in range(6):
            gained += TOTALS[k] * parts[0, k]
            gained_spin += TOTALS[k] * parts[1, k]
        common = TOTAL_DRIFT * bent - per_speed * gained
        time = share_time + common
        for i in acting:
            side = sides[i]
            wheel = 0.0
            for k in range(6):
                wheel += TOTALS[k] * side[PART + k]
            slip = wheel - side[COSINE] * gained - side[TURN] * radius * gained_spin
            more = common * side[START_FORCE] + pace * side[FORCE_SUM] + TOTAL_DRIFT * turned * side[FORCE_DRIFT]
            pressed = pace * side[START_FORCE]
            side[STEP_WORK] = side[WORK_SUM] + more * side[SPEED] + pressed * wheel
            side[STEP_HEAT] = side[HEAT_SUM] + more * side[START_SLIP] + pressed * slip
            side[STEP_HEAT] += TOTAL_DRIFT * turned * side[START_FORCE] * side[SLIP_DRIFT]
    fresh_spin = inner_spin + parts[1, 5] if turns else spin
    spin_error = abs(parts[1, 5]) if turns else 0.0
    return inner + parts[0, 5], fresh_spin, abs(parts[0, 5]), spin_error, wheel_error, most, time

"""Bounds for stages with one driven wheel: rails, and rods against a rail or an idler.

Müller's theorem as in `symmetric_pair`. Coordinates, per unit time, M = J/R² of the driven wheel, t and l as there:

round shape on a rail, q = rΩ, β of its spin inertia; Y = v + β q, z = v − q, κ = m/(2M), H = u − U + κ Y:
    m Y' = F_A (1 + cos φ) + N t
    m z' = F_A (cos φ − 1/β) + F_B (1 + 1/β) + N t
    M H' = τ/R − F_A (1 − cos φ)/2 + N t/2
    s_A  = U + H − [κ + (1 + cos φ)/(1 + β)] Y + z (1 − β cos φ)/(1 + β),   s_B = −z,   N_B = max(0, N cos φ − F_A t)
rod against an idler of mass b m = J_B/R², u_B its speed; Y = v + b u_B, z = v − u_B, κ = m/M, H = u − U + κ Y:
    m Y' = F_A + 2 (N t + l),   m z' = F_A + F_B (1 + 1/b) + 2 (N t + l),   M H' = τ/R + 2 (N t + l)
    s_A  = U + H − (κ + 1/(1 + b)) Y − z b/(1 + b),   s_B = −z
rod against a rail: the same with b = ∞ (v = z), and one normal along the barrel instead of two.

F_A drives Y, the other side holds z near 0, H is nearly conserved: only Y grows. Rolling is not assumed. Along the
barrel all are divided by v = (Y + β z)/(1 + β), and Y² is used for Y. This is loose where v nears 0, so v² has an upper
bound of its own: m (v²)' = 2 (F_A cos φ + F_B + N t) with each force at its greatest.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf, sqrt
from typing import Any, NamedTuple

import numpy as np

from stager.bounds.integrate import GAIN, OWN, SEEN, Run, integrator
from stager.bounds.normal_force import (
    BARRIER_HIGH, BARRIER_LOW, DIP, FASTEST, HELD_NORMALS, HOLD_LOW, INERTIA, JAMS, MASS, NORMALS, OF_BAND, OF_LEAD,
    RATIO, ROLLS, SET_HIGH, SET_LOW, STALLS, STRAIN, WHEEL_MASS, pressed, push,
)  # fmt: skip
from stager.bounds.traction import (
    SLOW, SLOWEST, STOPPED, Traction, both, extreme, greatest, least, motor_force, per_speed, slip_of, speed_ranges,
)  # fmt: skip
from stager.model.arrays import Floats, Matrix, Vector
from stager.physics.compiled import compiled, entry, inlined


@dataclass(frozen=True, slots=True)
class Coefficients:
    """Coefficients of the equations of a kind of stage.

    inertia: β of a round shape, b of a rod (infinite against a rail); rolls: a round shape; normals: number of normal
    forces along the barrel; held_normals: the same in M H'; ratio: κ.
    """

    inertia: float
    rolls: bool
    normals: float
    held_normals: float
    ratio: float

    @property
    def mix(self) -> tuple[float, float]:
        """Shares of Y and z in v."""
        if isinf(self.inertia):
            return 0.0, 1.0
        return 1.0 / (1.0 + self.inertia), self.inertia / (1.0 + self.inertia)

    def speed(self, lead: Floats, band: Floats) -> Floats:
        """Return v [m/s] from Y and z [m/s]."""
        of_lead, of_band = self.mix
        return of_lead * lead + of_band * band


def rail_coefficients(inertia_factor: float, mass: float, wheel_mass: float) -> Coefficients:
    """Return the coefficients of a round shape of `mass` [kg] on a rail; wheel_mass: J/R² [kg]."""
    return Coefficients(inertia_factor, True, 1.0, 0.5, mass / (2.0 * wheel_mass))


def rod_coefficients(mass: float, wheel_mass: float, idler_mass: float | None) -> Coefficients:
    """Return the coefficients of a rod of `mass` [kg] against a rail (None), or an idler of mass J_B/R² [kg]."""
    if idler_mass is None:
        return Coefficients(np.inf, False, 1.0, 1.0, mass / wheel_mass)
    return Coefficients(idler_mass / mass, False, 2.0, 2.0, mass / wheel_mass)


LEAD, BAND, HELD, SPEED = 0, 2, 4, 6
"""Rows of the state: Y⁺², Y⁻², z⁺, z⁻, H⁺, H⁻, (v²)⁺."""
WIDE = 0.05
"""Width of z over the greatest speed from which on the bound of v² is used [-]."""


class Shares(NamedTuple):
    """Coefficients at one cos φ.

    lead_a: F_A in m Y'; band_a, band_b: F_A, F_B in m z'; held_a: −F_A in M H'; slip_lead: −Y in s_A; slip_band: z.
    """

    lead_a: float
    band_a: float
    band_b: float
    held_a: float
    slip_lead: float
    slip_band: float


@inlined
def shares_of(body: Any, cosine: float) -> Shares:
    """Return the coefficients at cos φ."""
    lead, band, inverse = body[OF_LEAD], body[OF_BAND], 1.0 / body[INERTIA]
    if body[ROLLS] > 0.0:
        return Shares(
            1.0 + cosine, cosine - inverse, 1.0 + inverse, 0.5 * (1.0 - cosine),
            body[RATIO] + (1.0 + cosine) * lead, (1.0 - body[INERTIA] * cosine) * lead,
        )  # fmt: skip
    return Shares(1.0, 1.0, 1.0 + inverse, 0.0, body[RATIO] + lead, -band)


@inlined
def speed_of(body: Any, lead: float, band: float) -> Any:
    """Return v [m/s] from Y and z [m/s]."""
    return body[OF_LEAD] * lead + body[OF_BAND] * band


@compiled
def set_barriers(run: Any, number: int, place: float, ahead: float, state: Any) -> None:
    """Set barriers of z, see `integrator`.

    z cannot cross the values at which the rail balances any grip of the wheel; so a stiff step cannot carry a bound
    beyond them.
    """
    if run.body[ROLLS] > 0.0:
        most, least_of_all = holds(run, number, place)
        most_ahead, least_ahead = holds(run, number, ahead)
        run.lane[BARRIER_HIGH] = max(state[BAND], max(most, most_ahead))
        run.lane[BARRIER_LOW] = min(state[BAND + 1], min(least_of_all, least_ahead))


@compiled
def holds(run: Any, number: int, place: float) -> tuple[float, float]:
    """Return the z [m/s] above which its rate is negative, and below which it is positive, at any grip."""
    now = pressed(run.body, run.press, number, place)
    shares = shares_of(run.body, now.cosine)
    most, least_of_all = -np.inf, np.inf
    for side in range(2):
        grip = (2.0 * side - 1.0) * run.traction.peak
        pressing = now.cosine - grip * now.tilt_high
        if pressing > 0.0:
            needed = (grip * shares.band_a + now.tilt_high) / (max(pressing, 1e-9) * shares.band_b)
            most, least_of_all = max(most, needed), min(least_of_all, needed)
        else:
            most, least_of_all = np.inf, -np.inf
    return slip_of(run.other, most), slip_of(run.other, least_of_all)


@compiled
def rate(run: Any, number: int, place: float, state: Any, seeing: bool) -> None:
    """See `integrator`. SEEN: least acceleration [m/s^2]."""
    body, lane, gain, own = run.body, run.lane, run.room[GAIN], run.room[OWN]
    now = pressed(body, run.press, number, place)
    shares, count = shares_of(body, now.cosine), body[NORMALS]
    high, low = sqrt(max(state[LEAD], 0.0)), sqrt(max(state[LEAD + 1], 0.0))
    wheel_high, wheel_low = state[HELD] + lane[SET_HIGH], state[HELD + 1] + lane[SET_LOW]
    one, two = shares.slip_band * state[BAND], shares.slip_band * state[BAND + 1]
    # Slip without the term of Y, in the whole box and on the two faces of z.
    most_slip, least_slip = wheel_high + max(one, two), wheel_low + min(one, two)
    weakest = least(run.traction, least_slip - shares.slip_lead * high, most_slip - shares.slip_lead * low)[0]
    strongest = greatest(run.traction, least_slip - shares.slip_lead * high, most_slip - shares.slip_lead * low)[0]
    for end in range(2):
        sign = 1.0 - 2.0 * end
        lead, band = high if end == 0 else low, state[BAND + end]
        grip, slope = extreme(
            run.traction, least_slip - shares.slip_lead * lead, most_slip - shares.slip_lead * lead, sign
        )
        pull, _ = push(now, grip * shares.lead_a, count, sign)
        fast, slow = speed_of(body, lead, state[BAND]), speed_of(body, lead, state[BAND + 1])
        gain[LEAD + end] = 2.0 / body[MASS] * lead * per_speed(pull, sign, slow, fast)
        steep = -now.high * shares.lead_a * slope * shares.slip_lead / (body[MASS] * max(fast, SLOW))
        own[LEAD + end] = min(steep, 0.0)
        drift = shares.slip_band * band
        first, last = wheel_low - shares.slip_lead * high + drift, wheel_high - shares.slip_lead * low + drift
        gain[BAND + end], own[BAND + end] = band_rate(run, now, shares, band, first, last, high, low, sign)
        pull, _ = push(now, -(weakest if end == 0 else strongest) * shares.held_a, body[HELD_NORMALS], sign)
        pull += motor_force(body, body[RATIO] * lead - state[HELD + end], lane[HOLD_LOW + end])
        fast, slow = speed_of(body, high, state[BAND]), speed_of(body, low, state[BAND + 1])
        gain[HELD + end], own[HELD + end] = per_speed(pull, sign, slow, fast) / body[WHEEL_MASS], 0.0
    hold, _ = greatest(run.other, -state[BAND], -state[BAND + 1])
    along, _ = push(now, strongest * now.cosine + pressing_of(body, now, strongest) * hold, count, 1.0)
    gain[SPEED], own[SPEED] = 2.0 / body[MASS] * along, 0.0
    if seeing:
        hold, _ = least(run.other, -state[BAND], -state[BAND + 1])
        along, _ = push(now, weakest * now.cosine + pressing_of(body, now, weakest) * hold, count, -1.0)
        run.room[SEEN, 0] = along / body[MASS]


@compiled
def band_rate(
    run: Any, now: Any, shares: Any, band: float, first: float, last: float, high: float, low: float, sign: float
) -> tuple[float, float]:
    """Return the rate of z on its face and its derivative by z, for slips from `first` to `last` [m/s].

    It is linear in φ_A, with a bend where the projectile lifts off the rail.
    """
    body = run.body
    least_grip, slope_least = least(run.traction, first, last)
    most_grip, slope_most = greatest(run.traction, first, last)
    held, steepness = both(run.other, -band)
    gain = max(
        pull_on_band(body, now, shares, least_grip, held, sign), pull_on_band(body, now, shares, most_grip, held, sign)
    )
    if body[ROLLS] > 0.0:
        tilt = 1e-9 if abs(now.tilt_high) < 1e-9 else now.tilt_high
        bend = min(max(now.cosine / tilt, least_grip), most_grip)
        gain = max(gain, pull_on_band(body, now, shares, bend, held, sign))
    gain *= sign
    by_grip = shares.band_a * shares.slip_band * max(slope_least, slope_most)
    own = now.high * (min(by_grip, 0.0) - shares.band_b * steepness)
    fast, slow = speed_of(body, high, band), speed_of(body, low, band)
    speed = body[MASS] * (max(slow, SLOWEST) if sign * gain > 0.0 else max(fast, SLOW))
    return gain / speed, min(own / speed, 0.0)


@inlined
def pull_on_band(body: Any, now: Any, shares: Any, grip: float, held: float, sign: float) -> float:
    """Return sign·m z' [N] for φ_A and φ_B."""
    turned = grip * shares.band_a + pressing_of(body, now, grip) * held * shares.band_b
    return sign * push(now, turned, body[NORMALS], sign)[0]


@inlined
def pressing_of(body: Any, now: Any, grip: float) -> float:
    """Return N_B/N."""
    return max(now.cosine - grip * now.tilt_high, 0.0) if body[ROLLS] > 0.0 else 1.0


@compiled
def clip(run: Any, state: Any) -> None:
    """Clip a state to the ranges of `speed_ranges`, and v² to the value from Y and z."""
    body, lane, ratio = run.body, run.lane, run.body[RATIO]
    lead = sqrt(max(state[LEAD], 0.0))
    fast = fast_of(run, lead, state)
    spin_low, spin_high, wheel_low, wheel_high = speed_ranges(body, lane, max(lane[FASTEST], fast))
    if body[OF_LEAD] > 0.0:
        lead = min(lead, fast + body[INERTIA] * spin_high)
    band = min(min(state[BAND], lane[BARRIER_HIGH]), fast - spin_low)
    deepest = -min(spin_high, body[OF_LEAD] / body[OF_BAND] * lead)
    lower = min(max(state[LEAD + 1], 0.0), lead * lead)
    state[LEAD], state[LEAD + 1], state[BAND] = lead * lead, lower, band
    state[BAND + 1] = min(max(max(state[BAND + 1], lane[BARRIER_LOW]), deepest), band)
    state[HELD] = min(state[HELD], ratio * lead + max(wheel_high - lane[SET_LOW], 0.0))
    state[HELD + 1] = max(state[HELD + 1], ratio * sqrt(lower) - lane[SET_HIGH] + min(wheel_low, 0.0))
    state[SPEED] = fast * fast


@compiled
def fast_of(run: Any, lead: float, state: Any) -> Any:
    """Return the greatest v [m/s]; from the bound of v² only where z is wide, as that is integrated less closely."""
    mixed = max(speed_of(run.body, lead, state[BAND]), 0.0)
    if state[BAND] - state[BAND + 1] > WIDE * max(run.lane[SET_HIGH], run.lane[FASTEST]):
        return min(sqrt(max(state[SPEED], 0.0)), mixed)
    return mixed


@compiled
def scale(run: Any, state: Any, row: int) -> Any:
    """See `integrator`."""
    lane = run.lane
    top = max(lane[SET_HIGH], lane[FASTEST])
    if row < BAND or row == SPEED:
        return state[row] + 0.01 * lane[FASTEST] * lane[FASTEST]
    return top if row < HELD else (1.0 + run.body[RATIO]) * top


@compiled
def end_step(run: Any, state: Any) -> None:
    """See `integrator`."""
    body, lane = run.body, run.lane
    lead = sqrt(max(state[LEAD], 0.0))
    fast, slow = fast_of(run, lead, state), min(speed_of(body, lead, state[BAND]), 0.0)
    lane[FASTEST] = max(lane[FASTEST], fast)
    lane[DIP] += min(state[SPEED], 0.0) - slow * slow
    if lane[DIP] < -STOPPED * lane[FASTEST] * lane[FASTEST]:
        lane[JAMS] = 1.0
    if speed_of(body, sqrt(max(state[LEAD + 1], 0.0)), state[BAND + 1]) <= 0.0:
        lane[STALLS] = 1.0


@compiled
def record(run: Any, seen: Any) -> None:
    """Record the least peak acceleration; see `integrator`."""
    run.lane[STRAIN] = max(run.lane[STRAIN], seen[0])


integrate = integrator(rate, set_barriers, clip, scale, end_step, record)


@entry
def driven_cells(
    low: int, high: int, traction: Traction, other: Traction, body: Vector, press: Matrix, lanes: Matrix,
    states: Matrix, steps: int, room: Matrix,
) -> None:  # fmt: skip
    """Integrate the bounds of the cells from index `low` to before `high` through a stage with one driven wheel.

    Parameters
    ----------
    body, press, lanes : arrays, shapes (BODY,), (cells, PRESS), (cells, LANE)
        See `columns`; lanes are written to.
    states : array, shape (cells, 7)
        At the entry; replaced by those at the exit.
    steps : int
        See `integrator`.
    room : array, shape WORKSPACE
    """
    for n in range(low, high):
        integrate(Run(traction, other, body, press[n], lanes[n], room), states[n], steps)

"""Bounds for a pair with both wheels at one speed and a projectile that does not spin; round shapes and rods.

Theorem (Müller's, so named by Kieffer, Walter & Simeonov, Guaranteed nonlinear parameter estimation): bounds
y⁻ ≤ y ≤ y⁺ of y' = f(x, y), f Lipschitz in y, hold throughout where they hold at the start and each component's upper
bound obeys y_i⁺' ≥ f_i(x, η) for every η within the bounds whose own component η_i is y_i⁺, the lower one likewise
with ≤. With one component this is the comparison theorem.

Proof. Let L be the Lipschitz constant in the largest component, K > L, ε > 0, and widen both bounds by δ = ε e^{Kx}.
Were y to leave the widened bounds, let it reach them first at x₁, say the upper one of component i. The point η of the
bounds nearest to y(x₁) has η_i = y_i⁺ and |η − y| ≤ δ, so y_i' ≤ f_i(x₁, η) + L δ < y_i⁺' + K δ: the widened bound runs
away from y_i, which it cannot where y_i comes from below. Then ε → 0.

Coordinates. With M = J/R², κ = m/(2M), the set speed U and t = sin φ (for a rod: its ramp's slope), per unit time

    m v' = 2 N (φ cos φ + t) + 2 l                 s = u − v cos φ
    M u' = τ/R − N φ

so H = u − U + κ v is nearly conserved: M H' = N (t − φ (1 − cos φ)) + l + τ/R, τ falling with U − u = κ v − H.
Slip is s = U + H − (κ + cos φ) v. Along the barrel, with w = v²: w' = (4/m) [N (φ cos φ + t) + l] and H' as above
divided by v. On the face v = v⁺ slip has no width but that of U and H. For heavy wheels κ → 0, u = U + H, and the
bound becomes friction at its largest within the interval of wheel speed.

Slip heat grows by 2 N φ s per unit time, at least 2 N⁻ min(φ s)/v⁺ along the barrel.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from stager.bounds.integrate import GAIN, OWN, SEEN, Run, integrator, no_barriers
from stager.bounds.normal_force import (
    CROSSING, DIP, FASTEST, HOLD_HIGH, HOLD_LOW, JAMS, MASS, RATIO, SET_HIGH, SET_LOW, STALLS, STORED, STRAIN,
    WHEEL_MASS, pressed, push,
)  # fmt: skip
from stager.bounds.traction import SLOW, SLOWEST, STOPPED, Traction, extreme, greatest, least_lost, motor_force
from stager.model.arrays import Matrix, Vector
from stager.physics.compiled import compiled, entry, inlined

W, H, HEAT = 0, 2, 4
"""Rows of the state: greatest and least of w, then of H, and where slip heat is asked for the least of it [J]."""
HEAT_SCALE = 0.1
"""Scale of errors of slip heat over the kinetic energy at the greatest speed [-]."""


@inlined
def roots(state: Any) -> tuple[float, float]:
    """Return the greatest and the least v [m/s]."""
    return sqrt(max(state[W], 0.0)), sqrt(max(state[W + 1], 0.0))


@compiled
def rate(run: Any, number: int, place: float, state: Any, seeing: bool) -> None:
    """See `integrator`. Slip heat is computed where the state has a row for it.

    SEEN: least acceleration, acceleration at the crest of friction [m/s^2], least and greatest slip [m/s].
    """
    body, lane, traction, gain, own = run.body, run.lane, run.traction, run.room[GAIN], run.room[OWN]
    now = pressed(body, run.press, number, place)
    fast, slow = roots(state)
    by_speed = body[RATIO] + now.cosine
    wheel_high, wheel_low = state[H] + lane[SET_HIGH], state[H + 1] + lane[SET_LOW]
    pace_high, pace_low = by_speed * fast, by_speed * slow
    least_slip, most_slip = wheel_low - pace_high, wheel_high - pace_low
    # φ on the faces v⁺ and v⁻, where slip has no width but that of U and H; and in the whole box.
    most_fast, slope_fast = greatest(traction, least_slip, wheel_high - pace_high)
    least_slow, slope_slow = extreme(traction, wheel_low - pace_low, most_slip, -1.0)
    weakest, _ = extreme(traction, least_slip, most_slip, -1.0)
    strongest, _ = greatest(traction, least_slip, most_slip)
    per_mass = now.cosine * by_speed * -2.0 / body[MASS]
    pull, normal = push(now, most_fast * now.cosine, 1.0, 1.0)
    gain[W], own[W] = pull * 4.0 / body[MASS], min(normal * per_mass * slope_fast / max(fast, SLOWEST), 0.0)
    pull, normal = push(now, least_slow * now.cosine, 1.0, -1.0)
    gain[W + 1], own[W + 1] = pull * 4.0 / body[MASS], min(normal * per_mass * slope_slow / max(slow, SLOWEST), 0.0)
    longest, shortest = max(slow, SLOWEST), max(fast, SLOW)
    held, _ = push(now, weakest * (now.cosine - 1.0), 1.0, 1.0)
    held += motor_force(body, body[RATIO] * fast - state[H], lane[HOLD_LOW])
    gain[H], own[H] = held / ((longest if held > 0.0 else shortest) * body[WHEEL_MASS]), 0.0
    held, _ = push(now, strongest * (now.cosine - 1.0), 1.0, -1.0)
    held += motor_force(body, body[RATIO] * slow - state[H + 1], lane[HOLD_HIGH])
    gain[H + 1], own[H + 1] = held / ((longest if held < 0.0 else shortest) * body[WHEEL_MASS]), 0.0
    if state.shape[0] > HEAT:
        lost = least_lost(traction, max(max(least_slip, -most_slip), 0.0))
        gain[HEAT], own[HEAT] = 2.0 * now.low * lost / shortest, 0.0
    if seeing:
        seen = run.room[SEEN]
        seen[0] = 2.0 / body[MASS] * push(now, weakest * now.cosine, 1.0, -1.0)[0]
        seen[1] = 2.0 / body[MASS] * push(now, traction.peak * now.cosine, 1.0, -1.0)[0]
        seen[2], seen[3] = least_slip, most_slip


@compiled
def clip(run: Any, state: Any) -> None:
    """Clip a state to 0 ≤ u ≤ max(U, v so far), as only a faster projectile speeds a wheel up past its set speed.

    Energy limits that: since the last moment with u = U the motor has given nothing, so with S the crush energy of a
    side M u² ≤ M U² + m v²/2 + 2 S.
    """
    lane, ratio = run.lane, run.body[RATIO]
    state[W] = max(state[W], 0.0)
    state[W + 1] = min(max(state[W + 1], 0.0), state[W])
    upper, lower = roots(state)
    fastest, high = max(lane[FASTEST], upper), lane[SET_HIGH]
    given = ratio * fastest * fastest + 2.0 / run.body[WHEEL_MASS] * lane[STORED]
    wheel = min(max(high, fastest), sqrt(high * high + given))
    state[H] = min(state[H], ratio * upper + (wheel - lane[SET_LOW]))
    state[H + 1] = max(state[H + 1], ratio * lower - high)


@compiled
def scale(run: Any, state: Any, row: int) -> Any:
    """See `integrator`."""
    lane = run.lane
    top = max(lane[SET_HIGH], lane[FASTEST])
    if row < H:
        return state[row] + 0.01 * lane[FASTEST] * lane[FASTEST]
    return (1.0 + run.body[RATIO]) * top if row < HEAT else HEAT_SCALE * run.body[MASS] * top * top


@compiled
def end_step(run: Any, state: Any) -> None:
    """See `integrator`."""
    lane = run.lane
    lane[FASTEST] = max(lane[FASTEST], roots(state)[0])
    lane[DIP] += min(state[W], 0.0)
    if lane[DIP] < -STOPPED * lane[FASTEST] * lane[FASTEST]:
        lane[JAMS] = 1.0
    if state[W + 1] <= 0.0:
        lane[STALLS] = 1.0


@compiled
def record(run: Any, seen: Any) -> None:
    """Record the least peak acceleration; see `integrator`.

    Where all slips lie above the crest of friction, and later all below, every throw has passed the crest, and with it
    at least the acceleration there at the least favourable place between.
    """
    lane, crest, pull = run.lane, run.traction.crest, seen[0]
    lane[CROSSING] = seen[1] if seen[2] > crest else min(lane[CROSSING], seen[1])
    if seen[3] < crest:
        pull = max(pull, lane[CROSSING])
    lane[STRAIN] = max(lane[STRAIN], pull)


integrate = integrator(rate, no_barriers, clip, scale, end_step, record)


@entry
def pair_cells(
    low: int, high: int, traction: Traction, body: Vector, press: Matrix, lanes: Matrix, states: Matrix, steps: int,
    room: Matrix,
) -> None:  # fmt: skip
    """Integrate the bounds of the cells from index `low` to before `high` through a pair.

    Parameters
    ----------
    body, press, lanes : arrays, shapes (BODY,), (cells, PRESS), (cells, LANE)
        See `columns`; lanes are written to.
    states : array, shape (cells, 4 or 5)
        At the entry; replaced by those at the exit.
    steps : int
        See `integrator`.
    room : array, shape WORKSPACE
    """
    for n in range(low, high):
        integrate(Run(traction, traction, body, press[n], lanes[n], room), states[n], steps)

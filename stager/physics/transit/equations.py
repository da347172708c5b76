"""The equations of motion in position, and the implicit part of a step.

State rows: v [m/s], spin Ω [rad/s], then the surface speed u of each side [m/s]; where books are kept, also contact
time [s], then work of each side and heat of each side [J]. All per metre of barrel. Slips are linear in v: in v² steps
would be half as long where a side only creeps while the projectile gains speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.sides import Sides

LEAST_SPEED = 1e-6

Pressing = tuple[Floats, Floats, Floats, Floats]
"""Normal force [N], cos φ and sin φ of each side, shapes (sides, lanes) or (1, lanes), and the normals' push along
the barrel [N], shape (lanes,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lanes:
    """What one run of lanes needs: mass, radius r, inverse spin inertia (0: cannot turn), sides, and per nip its
    axis plane along the barrel [m]."""

    mass: Floats
    radius: Floats
    inverse_spin_inertia: Floats
    axes: tuple[Floats, ...]
    sides: Sides
    books: bool


@dataclass(slots=True)
class Slopes:
    """Right side at one place, and what the linear solve needs of it; see `slopes`."""

    rate: Floats
    speed: Floats
    wheel: Floats
    cosine: Floats
    slip: Floats
    force: Floats
    steepness: Floats
    coupling: Floats | None
    torque_slope: Floats
    normal: Floats
    sine: Floats
    traction: Floats
    pull: Floats


def over_sides(values: Floats) -> Floats:
    """Sum of `values`, shape (sides, lanes), over the sides: row by row, so that no lane depends on the others.

    (numpy's own sum takes another order of addition for a single lane.)
    """
    total: Floats = values[0]
    for row in range(1, len(values)):
        total = total + values[row]
    return total


def slopes(lanes: Lanes, pressing: Pressing, state: Floats, *, steep: bool = True) -> Slopes:
    """Right side d(state)/dx for `state` of shape (rows, lanes), where the sides press as in `pressing`.

    steep: find the derivatives too that `Implicit` needs.
    """
    sides = lanes.sides
    count = len(sides.laws)
    speed = np.maximum(state[0], LEAST_SPEED)
    wheel = state[2 : 2 + count]
    normal, cosine, sine, push = pressing
    slip = wheel - speed * cosine
    if sides.turns:
        slip -= sides.turnings * (lanes.radius * state[1])
    traction, steepness = sides.traction(slip, steep=steep)
    coupling = None
    if any(sides.rail):
        normal, coupling = _press_rails(sides, normal, sine, cosine, traction)
    force = normal * traction
    rate = np.empty_like(state)
    pull = force if sides.single else force * sides.weights
    rate[0] = (push + over_sides(pull * cosine)) / (lanes.mass * speed)
    if sides.turns:
        turning = over_sides(pull * sides.turnings)
        rate[1] = lanes.radius * lanes.inverse_spin_inertia * turning / speed
    else:
        rate[1] = 0.0
    torque_slope = _NO_SLOPE
    moment = -sides.radius * force
    if sides.driven:
        torque, torque_slope = sides.torque(wheel)
        moment += torque
    np.divide(sides.gain * moment, speed, out=rate[2 : 2 + count])
    if lanes.books:
        rate[2 + count] = 1.0 / speed
        per_metre = force / speed
        np.multiply(per_metre, wheel, out=rate[3 + count : 3 + 2 * count])
        np.multiply(per_metre, slip, out=rate[3 + 2 * count :])
    if steep:
        steepness = normal * steepness
    return Slopes(
        rate, speed, wheel, cosine, slip, force, steepness, coupling, torque_slope, normal, sine, traction, pull
    )


_NO_SLOPE = np.zeros((1, 1))


def _press_rails(sides: Sides, normal: Floats, sine: Floats, cosine: Floats, traction: Floats) -> tuple[Floats, Floats]:
    """Rails react with N_B = max(0, N cos φ − F_A sin φ). Gives all normals and dF_B/dF_A, shapes (sides, lanes)."""
    pressing, coupling = np.empty_like(traction), np.zeros_like(traction)
    pressing[:] = normal
    for side, is_rail in enumerate(sides.rail):
        if is_rail:
            wheel = side - 1
            tilt = sine[wheel if sine.shape[0] > 1 else 0]
            pressed = pressing[wheel] * (cosine[wheel] - traction[wheel] * tilt)
            pressing[side] = np.maximum(pressed, 0.0)
            coupling[side] = -traction[side] * tilt * (pressed > 0.0)
    return pressing, coupling


class Implicit:
    """Solves (1 − t·J) U = ρ for the state's increments U, where J is the exact Jacobian of `slopes`.

    The state acts on forces only through the slips and on the rest through v: one small system in the forces'
    increments, shape (sides, sides), stands for the whole Jacobian.
    """

    def __init__(self, lanes: Lanes, now: Slopes, reach: Floats) -> None:
        self.lanes, self.now, self.reach = lanes, now, reach
        sides, speed = lanes.sides, now.speed
        count = len(sides.laws)
        self.count = count
        per_speed = sides.gain / speed
        self.damping = 1.0 / (1.0 - reach * per_speed * now.torque_slope) if sides.driven else None
        damped = reach if self.damping is None else self.damping * reach
        self.wheel_gain = damped * per_speed * sides.radius
        self.wheel_by_speed = damped * now.rate[2 : 2 + count] / speed
        self.spin_gain = reach * lanes.radius * lanes.inverse_spin_inertia / speed
        self.spin_by_speed = reach * now.rate[1] / speed
        self.slowing = 1.0 / (1.0 + reach * now.rate[0] / speed)
        gain = sides.weights * now.cosine * (self.slowing * reach / (lanes.mass * speed))
        self.speed_gain = gain if gain.shape == now.force.shape else np.broadcast_to(gain, now.force.shape)
        self.slip_by_speed = -(self.wheel_by_speed + now.cosine)
        if sides.turns:
            self.slip_by_speed += sides.turnings * (lanes.radius * self.spin_by_speed)
        self.system = self._system()

    def _system(self) -> list[list[Floats]]:
        sides, lanes, now = self.lanes.sides, self.lanes, self.now
        rows = []
        for i in range(self.count):
            row = []
            for k in range(self.count):
                term = self.slip_by_speed[i] * self.speed_gain[k]
                if sides.turn[i] and sides.turn[k]:
                    term = term - sides.turn[i] * sides.turn[k] * sides.weight[k] * lanes.radius * self.spin_gain
                if i == k:
                    term = term - self.wheel_gain[i]
                term = -now.steepness[i] * term
                if i == k:
                    term = term + 1.0
                elif now.coupling is not None and sides.rail[i] and k == i - 1:
                    term = term - now.coupling[i]
                row.append(term)
            rows.append(row)
        return rows

    def solve(self, known: Floats) -> Floats:
        """Increments U, shape (rows, lanes), for the right side ρ = `known` of the same shape."""
        lanes, now, sides, count = self.lanes, self.now, self.lanes.sides, self.count
        speed_known = known[0] * self.slowing
        wheel_known = known[2 : 2 + count] if self.damping is None else self.damping * known[2 : 2 + count]
        slip_known = wheel_known + self.slip_by_speed * speed_known
        if sides.turns:
            slip_known -= sides.turnings * (lanes.radius * known[1])
        force = _solve_small(self.system, now.steepness * slip_known)
        out = np.empty_like(known)
        speed = speed_known + over_sides(self.speed_gain * force)
        out[0] = speed
        out[1] = known[1]
        if sides.turns:
            turning = over_sides(sides.turnings * (force if sides.single else sides.weights * force))
            out[1] += self.spin_gain * turning - self.spin_by_speed * speed
        np.subtract(wheel_known - self.wheel_by_speed * speed, self.wheel_gain * force, out=out[2 : 2 + count])
        if lanes.books:
            self._books(known, out, speed, force)
        return out

    def _books(self, known: Floats, out: Floats, speed: Floats, force: Floats) -> None:
        """Works and heats follow from the increments of force, slip and speed."""
        now, count, sides = self.now, self.count, self.lanes.sides
        scale = self.reach / now.speed
        wheel = out[2 : 2 + count]
        slip = wheel - now.cosine * speed
        if sides.turns:
            slip -= sides.turnings * (self.lanes.radius * out[1])
        lost = scale * speed
        out[2 + count :] = known[2 + count :] - now.rate[2 + count :] * lost
        out[3 + count : 3 + 2 * count] += scale * (force * now.wheel + now.force * wheel)
        out[3 + 2 * count :] += scale * (force * now.slip + now.force * slip)


def _solve_small(system: list[list[Floats]], right: Floats) -> Floats:
    if len(system) == 1:
        return right / system[0][0]
    if len(system) == 2:
        (a, b), (c, d) = system
        out = np.empty_like(right)
        np.subtract(d * right[0], b * right[1], out=out[0])
        np.subtract(a * right[1], c * right[0], out=out[1])
        out /= a * d - b * c
        return out
    shape = right.shape[1:]
    matrix = np.stack([np.stack([np.broadcast_to(term, shape) for term in row], -1) for row in system], -2)
    return np.asarray(np.linalg.solve(matrix, right.T[..., None])[..., 0].T, dtype=np.float64)

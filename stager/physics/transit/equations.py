"""The equations of motion in position, and the implicit part of a step.

State rows: v² [m^2/s^2], spin Ω [rad/s], then the surface speed u of each side [m/s]; where books are kept, also
contact time [s], then work of each side and heat of each side [J]. All per metre of barrel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.profile import Profile
from stager.physics.transit.sides import Sides

LEAST_SPEED_SQUARED = 1e-12


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


def slopes(lanes: Lanes, profiles: tuple[Profile, ...], place: Floats, state: Floats) -> Slopes:
    """Right side d(state)/dx at `place` [m], shape (lanes,), for `state` of shape (rows, lanes)."""
    sides = lanes.sides
    count = len(sides.laws)
    speed = np.sqrt(np.maximum(state[0], LEAST_SPEED_SQUARED))
    wheel = state[2 : 2 + count]
    normal, cosine, sine, push = _normals(lanes, profiles, place, speed.shape)
    rim = np.empty_like(wheel)
    for side in range(count):
        rim[side] = speed * cosine[side]
        if sides.turn[side]:
            rim[side] += sides.turn[side] * lanes.radius * state[1]
    slip = wheel - rim
    traction, steepness = sides.traction(slip)
    coupling = _press_rails(sides, normal, sine, cosine, traction)
    force = normal * traction
    steepness = normal * steepness
    torque, torque_slope = sides.torque(wheel)
    rate = np.empty_like(state)
    forward = push
    turning = np.zeros_like(speed)
    for side in range(count):
        pull = sides.weight[side] * force[side]
        forward = forward + pull * cosine[side]
        if sides.turn[side]:
            turning += sides.turn[side] * pull
    rate[0] = 2.0 / lanes.mass * forward
    rate[1] = lanes.radius * lanes.inverse_spin_inertia * turning / speed
    rate[2 : 2 + count] = sides.radius * sides.inverse_inertia * (torque - sides.radius * force) / speed
    if lanes.books:
        rate[2 + count] = 1.0 / speed
        rate[3 + count : 3 + 2 * count] = force * wheel / speed
        rate[3 + 2 * count :] = force * slip / speed
    return Slopes(rate, speed, wheel, cosine, slip, force, steepness, coupling, torque_slope)


def _normals(
    lanes: Lanes, profiles: tuple[Profile, ...], place: Floats, shape: tuple[int, ...]
) -> tuple[Floats, Floats, Floats, Floats]:
    sides = lanes.sides
    count = len(sides.laws)
    normal, cosine, sine = (np.empty((count, *shape)) for _ in range(3))
    push: Floats = np.zeros(shape)
    found = [profile.at(place - axis) for profile, axis in zip(profiles, lanes.axes, strict=True)]
    for _, _, _, part in found:
        push = push + part
    for side in range(count):
        force, tilt_cosine, tilt_sine, _ = found[sides.nip[side]]
        normal[side], sine[side] = force, tilt_sine
        cosine[side] = 1.0 if sides.level[side] else tilt_cosine
    return normal, cosine, sine, push


def _press_rails(sides: Sides, normal: Floats, sine: Floats, cosine: Floats, traction: Floats) -> Floats | None:
    """Rails react with N_B = max(0, N cos φ − F_A sin φ); gives dF_B/dF_A, shape (sides, lanes), where any is."""
    if not any(sides.rail):
        return None
    coupling = np.zeros_like(normal)
    for side, is_rail in enumerate(sides.rail):
        if is_rail:
            wheel = side - 1
            pressed = normal[wheel] * (cosine[wheel] - traction[wheel] * sine[wheel])
            normal[side] = np.maximum(pressed, 0.0)
            coupling[side] = np.where(pressed > 0.0, -traction[side] * sine[wheel], 0.0)
    return coupling


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
        per_speed = sides.radius * sides.inverse_inertia / speed
        self.damping = 1.0 / (1.0 - reach * per_speed * now.torque_slope)
        self.wheel_gain = self.damping * reach * per_speed * sides.radius
        self.wheel_by_speed = self.damping * reach * now.rate[2 : 2 + count] / speed
        self.spin_gain = reach * lanes.radius * lanes.inverse_spin_inertia / speed
        self.spin_by_speed = reach * now.rate[1] / speed
        self.speed_gain = [w * now.cosine[i] * reach / (lanes.mass * speed) for i, w in enumerate(sides.weight)]
        self.slip_by_speed = -(self.wheel_by_speed + now.cosine)
        for side, turn in enumerate(sides.turn):
            if turn:
                self.slip_by_speed[side] += turn * lanes.radius * self.spin_by_speed
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
        speed_known = known[0] / (2.0 * now.speed)
        wheel_known = self.damping * known[2 : 2 + count]
        slip_known = wheel_known + self.slip_by_speed * speed_known
        for side, turn in enumerate(sides.turn):
            if turn:
                slip_known[side] -= turn * lanes.radius * known[1]
        force = _solve_small(self.system, now.steepness * slip_known)
        out = np.empty_like(known)
        speed = speed_known
        turning = np.zeros_like(speed)
        for side in range(count):
            speed = speed + self.speed_gain[side] * force[side]
            if sides.turn[side]:
                turning += sides.turn[side] * sides.weight[side] * force[side]
        out[0] = 2.0 * now.speed * speed
        out[1] = known[1] + self.spin_gain * turning - self.spin_by_speed * speed
        out[2 : 2 + count] = wheel_known - self.wheel_by_speed * speed - self.wheel_gain * force
        if lanes.books:
            self._books(known, out, speed, force)
        return out

    def _books(self, known: Floats, out: Floats, speed: Floats, force: Floats) -> None:
        """Works and heats follow from the increments of force, slip and speed."""
        now, count, sides = self.now, self.count, self.lanes.sides
        scale = self.reach / now.speed
        wheel = out[2 : 2 + count]
        slip = wheel - now.cosine * speed
        for side, turn in enumerate(sides.turn):
            if turn:
                slip[side] -= turn * self.lanes.radius * out[1]
        rate = now.rate
        out[2 + count] = known[2 + count] - scale * rate[2 + count] * speed
        work, heat = slice(3 + count, 3 + 2 * count), slice(3 + 2 * count, None)
        out[work] = known[work] + scale * (force * now.wheel + now.force * wheel) - scale * rate[work] * speed
        out[heat] = known[heat] + scale * (force * now.slip + now.force * slip) - scale * rate[heat] * speed


def _solve_small(system: list[list[Floats]], right: Floats) -> Floats:
    if len(system) == 1:
        return right / system[0][0]
    if len(system) == 2:
        (a, b), (c, d) = system
        determinant = a * d - b * c
        return np.stack([(d * right[0] - b * right[1]), (a * right[1] - c * right[0])]) / determinant
    shape = right.shape[1:]
    matrix = np.stack([np.stack([np.broadcast_to(term, shape) for term in row], -1) for row in system], -2)
    return np.asarray(np.linalg.solve(matrix, right.T[..., None])[..., 0].T, dtype=np.float64)

"""The equations of motion, and the implicit part of a step.

State rows: v [m/s], where friction can turn the projectile its spin Ω [rad/s], then the surface speed u of each side
[m/s]; where books are kept, also contact time [s], then work of each side and heat of each side [J], which act on
nothing and are added up at the end of a step. Rates are per second, steps run along the way: d(state)/dx = rate/v.
Slips are linear in v: in v² steps would be half as long where a side only creeps while the projectile gains speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.sides import Sides

LEAST_SPEED = 1e-6
_LEAST, _ONE, _NONE = np.array(LEAST_SPEED), np.array(1.0), np.array(0.0)

Pressing = tuple[Floats, Floats, Floats, Floats]
"""Normal force [N], cos φ and sin φ of each side, shapes (sides, lanes) or (1, lanes), and the normals' push along
the barrel [N], shape (lanes,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lanes:
    """What one run of lanes needs. Where a side stands for several, each has its share of mass and push.

    inverse_mass: of that share [1/kg]; radius r; spin_gain r/I, 0 where it cannot turn [m/(kg m^2)]; sides; axes: per
    nip its axis plane along the barrel [m], that of the first at 0.
    """

    inverse_mass: Floats
    radius: Floats
    spin_gain: Floats
    axes: tuple[Floats, ...]
    sides: Sides
    books: bool


@dataclass(slots=True)
class Slopes:
    """Rates at one place, and what the linear solve needs of it; see `slopes`. thrust [N]: along the barrel."""

    rate: Floats
    speed: Floats
    wheel: Floats
    cosine: Floats
    slip: Floats
    force: Floats
    thrust: Floats
    steepness: Floats
    coupling: Floats | None
    torque_slope: Floats
    normal: Floats
    sine: Floats
    traction: Floats

    def rubbing(self) -> Floats:
        """Power that slips turn to heat, shape (sides, lanes) [W]."""
        return self.force * self.slip


def over_sides(values: Floats) -> Floats:
    """Sum of `values`, shape (sides, lanes), over the sides: row by row, so that no lane depends on the others.

    (numpy's own sum takes another order of addition for a single lane.)
    """
    total: Floats = values[0]
    for row in range(1, len(values)):
        total = total + values[row]
    return total


def over_turns(sides: Sides, values: Floats) -> Floats:
    """As `over_sides`, each side by the sense in which it turns the projectile."""
    total: Floats = values[0]
    for turn, row in zip(sides.turn[1:], values[1:], strict=True):
        total = total + row if turn > 0.0 else total - row
    return total


def turn_back(sides: Sides, slip: Floats, around: Floats) -> None:
    """Take what the projectile turns, `around` [m/s], from the `slip` of each side."""
    for turn, row in zip(sides.turn, slip, strict=True):
        if turn > 0.0:
            row -= around
        else:
            row += around


def slopes(lanes: Lanes, pressing: Pressing, state: Floats, *, steep: bool = True) -> Slopes:
    """Rates d(state)/dt of the rows that are stepped, where the sides press as in `pressing`.

    steep: find the derivatives too that `Implicit` needs.
    """
    sides = lanes.sides
    speed = np.maximum(state[0], _LEAST)
    wheel = state[sides.wheels]
    normal, cosine, sine, push = pressing
    slip = wheel - speed * cosine
    if sides.turns:
        turn_back(sides, slip, lanes.radius * state[1])
    traction, steepness = sides.traction(slip, steep=steep)
    coupling = None
    if sides.rails:
        normal, coupling = _press_rails(sides, normal, sine, cosine, traction, steep=steep)
    force = normal * traction
    rate = np.empty((sides.rows, speed.size))
    thrust = over_sides(force * cosine)
    thrust += push
    np.multiply(thrust, lanes.inverse_mass, out=rate[0])
    if sides.turns:
        np.multiply(over_turns(sides, force), lanes.spin_gain, out=rate[1])
    turning, torque_slope = rate[sides.wheels], _NO_SLOPE
    np.multiply(force, sides.brake, out=turning)
    if sides.driven:
        torque, torque_slope = sides.torque(wheel)
        torque *= sides.gain
        turning += torque
    if steep:
        steepness = normal * steepness
    return Slopes(
        rate, speed, wheel, cosine, slip, force, thrust, steepness, coupling, torque_slope, normal, sine, traction
    )


_NO_SLOPE = np.zeros((1, 1))


def _press_rails(
    sides: Sides, normal: Floats, sine: Floats, cosine: Floats, traction: Floats, *, steep: bool
) -> tuple[Floats, Floats | None]:
    """Rails react with N_B = max(0, N cos φ − F_A sin φ). Gives all normals and dF_B/dF_A, shapes (sides, lanes)."""
    pressing, coupling = np.empty_like(traction), np.zeros_like(traction) if steep else None
    pressing[:] = normal
    for side, is_rail in enumerate(sides.rail):
        if is_rail:
            wheel = side - 1
            tilt = sine[wheel if sine.shape[0] > 1 else 0]
            pressed = pressing[wheel] * (cosine[wheel] - traction[wheel] * tilt)
            pressing[side] = np.maximum(pressed, 0.0)
            if coupling is not None:
                coupling[side] = -traction[side] * tilt * (pressed > 0.0)
    return pressing, coupling


class Implicit:
    """Solves (1 − t·J) U = ρ for the state's increments U, where J is the exact Jacobian of the right side.

    The state acts on forces only through the slips and on the rest through v: one small system in the forces'
    increments, shape (sides, sides), stands for the whole Jacobian. pace: t over v, shape (lanes,) [s].
    """

    def __init__(self, lanes: Lanes, now: Slopes, pace: Floats) -> None:
        self.lanes, self.now, self.pace = lanes, now, pace
        sides = lanes.sides
        self.per_speed = pace / now.speed
        self.slowing = self.per_speed * now.rate[0]
        self.slowing += _ONE
        np.divide(_ONE, self.slowing, out=self.slowing)
        self.wheel_gain = pace[None] * sides.brake
        self.wheel_by_speed = self.per_speed * now.rate[sides.wheels]
        self.damping = None
        if sides.driven:
            self.damping = 1.0 / (1.0 - pace * sides.gain * now.torque_slope)
            self.wheel_gain = self.wheel_gain * self.damping
            self.wheel_by_speed *= self.damping
        self.speed_gain = now.cosine * (self.slowing * pace * lanes.inverse_mass)
        self.slip_by_speed = self.wheel_by_speed + now.cosine
        np.negative(self.slip_by_speed, out=self.slip_by_speed)
        if sides.turns:
            self.spin_gain = pace * lanes.spin_gain
            self.spin_by_speed = self.per_speed * now.rate[1]
            turn_back(sides, self.slip_by_speed, -lanes.radius * self.spin_by_speed)
        self.force_gain = _force_gains(self._system(), now.steepness)

    def _system(self) -> list[list[Floats]]:
        sides, lanes, now = self.lanes.sides, self.lanes, self.now
        gains = self.speed_gain
        if gains.shape != now.force.shape:
            gains = np.broadcast_to(gains, now.force.shape)
        spinning = lanes.radius * self.spin_gain if sides.turns else None
        rows = []
        for i, steepness in enumerate(now.steepness):
            row = []
            for k, gain in enumerate(gains):
                term = self.slip_by_speed[i] * gain
                if spinning is not None:
                    term -= sides.turn[i] * sides.turn[k] * spinning
                if i == k:
                    term += self.wheel_gain[i]
                term *= steepness
                np.subtract(_ONE if i == k else _NONE, term, out=term)
                if now.coupling is not None and sides.rail[i] and k == i - 1:
                    term -= now.coupling[i]
                row.append(term)
            rows.append(row)
        return rows

    def solve(self, known: Floats, out: Floats) -> Floats:
        """Increments U of the state for the right side ρ = `known`, into `out`, both of shape (rows, lanes).

        Gives the increments of the forces, shape (sides, lanes).
        """
        sides = self.lanes.sides
        speed_known, wheel_known = known[0] * self.slowing, known[sides.wheels]
        if self.damping is not None:
            wheel_known = self.damping * wheel_known
        slip = self.slip_by_speed * speed_known
        slip += wheel_known
        if sides.turns:
            turn_back(sides, slip, self.lanes.radius * known[1])
        force = self._forces(slip)
        speed, wheel = out[0], out[sides.wheels]
        np.add(over_sides(self.speed_gain * force), speed_known, out=speed)
        if sides.turns:
            spin = out[1]
            np.multiply(over_turns(sides, force), self.spin_gain, out=spin)
            spin -= self.spin_by_speed * speed
            spin += known[1]
        np.multiply(self.wheel_by_speed, speed, out=wheel)
        np.subtract(wheel_known, wheel, out=wheel)
        wheel += self.wheel_gain * force
        return force

    def _forces(self, slip: Floats) -> Floats:
        force: Floats = self.force_gain[0] * slip[0]
        for gain, row in zip(self.force_gain[1:], slip[1:], strict=True):
            force += gain * row
        return force


def _force_gains(system: list[list[Floats]], steepness: Floats) -> Floats:
    """Increments of all forces by what is known of each slip: the system's inverse times the forces' slopes.

    Shape (sides, sides, lanes), the slips first.
    """
    gains = np.empty((len(system), *steepness.shape))
    if len(system) == 1:
        np.divide(steepness[0], system[0][0], out=gains[0, 0])
        return gains
    if len(system) == 2:
        (a, b), (c, d) = system
        first, second = steepness / (a * d - b * c)
        np.multiply(d, first, out=gains[0, 0])
        np.multiply(b, -second, out=gains[1, 0])
        np.multiply(c, -first, out=gains[0, 1])
        np.multiply(a, second, out=gains[1, 1])
        return gains
    matrix = np.stack([np.stack(row, -1) for row in system], -2)
    np.multiply(np.moveaxis(np.linalg.inv(matrix), 0, -1).swapaxes(0, 1), steepness[:, None], out=gains)
    return gains

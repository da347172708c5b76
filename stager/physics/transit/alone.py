"""The transit of a single lane in plain numbers: the same equations and method as for a batch.

For a handful of lanes arrays cost far more than their arithmetic; a batch hands its last lanes over to this.
One nip at a time: sides are A alone, standing for two mirrored ones, or A and B.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stager.hardware.arrays import Floats
from stager.physics.elementary import tanh
from stager.physics.friction.single import coefficient_at
from stager.physics.transit.equations import LEAST_SPEED, Lanes
from stager.physics.transit.profile import Profile

Coefficient = Callable[[float], tuple[float, float]]


class Side(NamedTuple):
    """One side in numbers; fields as in Sides. gain: R/J; opposing: −R²/J; level: friction acts along the barrel."""

    law: Coefficient
    weight: float
    turn: float
    level: bool
    radius: float
    gain: float
    opposing: float
    held_speed: float
    motor_slope: float
    torque_low: float
    torque_high: float


class Now(NamedTuple):
    """Right side at one place, and what the linear solve needs; as Slopes."""

    rate: list[float]
    speed: float
    wheels: list[float]
    cosines: list[float]
    slips: list[float]
    forces: list[float]
    steepness: list[float]
    coupling: float
    coupled: bool
    torque_slopes: list[float]
    tractions: list[float]
    normal: float
    cosine: float
    sine: float


def one(values: Floats, side: int = 0) -> float:
    """The number of a side in an array of a single lane, (1,), (sides, 1) or of a value the same for all."""
    return float(values[side, 0]) if values.ndim == 2 else float(values[0])


class Single:
    """One lane of `lanes` in one nip, whose normal force is `profile`."""

    def __init__(self, lanes: Lanes, profile: Profile) -> None:
        sides = lanes.sides
        self.count = len(sides.laws)
        self.sides = [
            Side(
                law=coefficient_at(sides.laws[k]), weight=sides.weight[k], turn=sides.turn[k], level=sides.level[k],
                radius=one(sides.radius, k), gain=one(sides.radius, k) * one(sides.inverse_inertia, k),
                opposing=-one(sides.radius, k) * one(sides.radius, k) * one(sides.inverse_inertia, k),
                held_speed=one(sides.held_speed, k), motor_slope=one(sides.motor_slope, k),
                torque_low=one(sides.torque_low, k), torque_high=one(sides.torque_high, k),
            )
            for k in range(self.count)
        ]  # fmt: skip
        self.rail = self.count == 2 and sides.rail[1]
        self.turns, self.books = sides.turns, lanes.books
        (self.normal, self.change), self.axis = profile.alone(), one(lanes.axes[0])
        self.mass, self.radius, self.creep = one(lanes.mass), one(lanes.radius), one(sides.creep)
        self.inverse_spin_inertia = one(lanes.inverse_spin_inertia)
        self.spin_gain = self.radius * self.inverse_spin_inertia
        self.top = max(one(sides.set_speed, k) for k in range(self.count))

    def now(self, place: float, state: list[float], *, steep: bool) -> Now:
        """d(state)/dx at `place` [m]; as `slopes`."""
        count, creep = self.count, self.creep
        speed = max(state[0], LEAST_SPEED)
        normal, cosine, sine, push = self.normal(place - self.axis)
        around = self.radius * state[1]
        forward, turning, coupling, before, coupled = 0.0, 0.0, 0.0, 0.0, False
        rate = [0.0, 0.0] + [0.0] * count
        cosines, slips, forces, steepness, torque_slopes, tractions = [], [], [], [], [], []
        for k, side in enumerate(self.sides):
            law, weight, turn, level, radius, gain, _, held_speed, motor_slope, low, high = side
            along = 1.0 if level else cosine
            wheel = state[2 + k]
            slip = wheel - speed * along - turn * around
            size = -slip if slip < 0.0 else slip
            coefficient, slope = law(size)
            creeping = tanh(slip / creep)
            traction = coefficient * creeping
            pressing = normal
            if k and self.rail:
                pressed = normal * (cosine - before * sine)
                coupled = pressed > 0.0
                pressing = pressed if coupled else 0.0
                coupling = -traction * sine if coupled else 0.0
            before = traction
            force = pressing * traction
            pull = force * weight
            forward += pull * along
            turning += pull * turn
            moment, torque_slope = -radius * force, 0.0
            if motor_slope:
                asked = motor_slope * (held_speed - wheel)
                given = min(max(asked, low), high)
                moment += given
                torque_slope = -motor_slope if given == asked else 0.0
            rate[2 + k] = gain * moment / speed
            cosines.append(along)
            slips.append(slip)
            forces.append(force)
            tractions.append(traction)
            if steep:
                inner = slope * abs(creeping) + coefficient * (1.0 - creeping * creeping) / creep
                steepness.append(pressing * inner)
                torque_slopes.append(torque_slope)
        rate[0] = (push + forward) / (self.mass * speed)
        if self.turns:
            rate[1] = self.spin_gain * turning / speed
        if self.books:
            rate.append(1.0 / speed)
            rate += [force / speed * state[2 + k] for k, force in enumerate(forces)]
            rate += [force / speed * slips[k] for k, force in enumerate(forces)]
        return Now(
            rate, speed, state[2 : 2 + count], cosines, slips, forces, steepness, coupling, coupled, torque_slopes,
            tractions, normal, cosine, sine,
        )  # fmt: skip

    def drift(self, place: float, now: Now) -> list[float]:
        """Derivative of the right side by the place alone [1/m]; see `drift`."""
        speed = now.speed
        normal, cosine, sine, push = self.change(place - self.axis)
        forward, turning, first = 0.0, 0.0, 0.0
        forces, slipping = [], []
        for k, side in enumerate(self.sides):
            along = 0.0 if side.level else cosine
            sliding = -speed * along
            pressing = normal
            if k and self.rail:
                pressed = normal * now.cosine + now.normal * cosine - first * now.sine - now.forces[0] * sine
                pressing = pressed if now.coupled else 0.0
            force = pressing * now.tractions[k] + now.steepness[k] * sliding
            first = force
            pull = force * side.weight
            forward += pull * now.cosines[k] + now.forces[k] * side.weight * along
            turning += pull * side.turn
            forces.append(force)
            slipping.append(sliding)
        rate = [(push + forward) / (self.mass * speed), self.spin_gain * turning / speed if self.turns else 0.0]
        rate += [side.opposing * force / speed for side, force in zip(self.sides, forces, strict=True)]
        if self.books:
            rate.append(0.0)
            rate += [force * wheel / speed for force, wheel in zip(forces, now.wheels, strict=True)]
            rate += [(force * now.slips[k] + now.forces[k] * slipping[k]) / speed for k, force in enumerate(forces)]
        return rate

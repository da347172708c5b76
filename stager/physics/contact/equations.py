"""The equations of motion: forces of all nips in contact at one place.

Friction acts along the tangent of each side, F = μ(|s|)·N·tanh(s/ε), with the slips
s_A = u_A − (v cos φ + rΩ) and s_B = u_B − (v cos φ_B − rΩ). A rail reacts to a round projectile with
N_B = max(0, N cos φ − F_A sin φ), to a rod with N.
"""

from __future__ import annotations

from math import copysign, exp, sqrt
from typing import Any

from stager.physics.compiled import inlined
from stager.physics.contact.columns import (
    AXIS, BRAKE, COSINE, COUPLING, CREEP, FORCE, FORCE_BY_PLACE, FORCE_BY_SLIP, GAIN, HALF_WIDTH, HEIGHT, HELD,
    NIP_LAYOUT, PUSH, PUSH_END, RAIL, RATE, RATE_BY_PLACE, SLIP, SLIP_BY_PLACE, STEP_POWER, TORQUE_BY_SPEED,
    TORQUE_HIGH, TORQUE_LOW, TORQUE_SLOPE, WHEEL,
)  # fmt: skip
from stager.physics.contact.profile import press, press_change
from stager.physics.friction.dispatch import coefficient

Floats = Any
LEAST_SPEED = 1e-6
"""Speed below which the projectile counts as this fast [m/s], so that times stay finite."""
TANH_IS_ONE = 20.0
"""Argument above which tanh is 1 to the last digit; below it (1 − e^−2x)/(1 + e^−2x) takes half the time of tanh."""


@inlined
def grip(number: int, values: Floats, slip: float, creep: float) -> tuple[float, float]:
    """Return the traction μ(|s|)·tanh(s/ε) [-] and its slope [s/m]."""
    friction, slope = coefficient(number, abs(slip), values)
    inverse = 1.0 / creep
    ratio = slip * inverse
    if ratio > TANH_IS_ONE:
        return friction, slope
    if ratio < -TANH_IS_ONE:
        return -friction, slope
    fading = exp(-2.0 * abs(ratio))
    creeping = copysign((1.0 - fading) / (1.0 + fading), ratio)
    return friction * creeping, slope * abs(creeping) + friction * (1.0 - creeping * creeping) * inverse


@inlined
def air_moment(angular_speed: float, laminar: float, turbulent: float, core: float, transition: float) -> float:
    """Return the air's moment on a wheel [N m] at `angular_speed` [rad/s]; factors as in `stager.physics.air.Disc`."""
    if angular_speed <= 0.0:
        return 0.0
    if angular_speed > transition:
        return float(turbulent * angular_speed**1.8 - core / sqrt(angular_speed))
    return laminar * angular_speed * sqrt(angular_speed)


@inlined
def motor(sides: Floats, i: int, wheel: float) -> tuple[float, float]:
    """Return the motor's torque above that which holds the set speed [N m], and its slope by surface speed [N s]."""
    slope = sides[i, TORQUE_SLOPE]
    if slope == 0.0:
        return 0.0, 0.0
    torque = slope * (sides[i, HELD] - wheel)
    if torque < sides[i, TORQUE_LOW]:
        return sides[i, TORQUE_LOW], 0.0
    if torque > sides[i, TORQUE_HIGH]:
        return sides[i, TORQUE_HIGH], 0.0
    return torque, -slope


@inlined
def evaluate(
    active: Any, count: int, pieces: Any, nips: Floats, sides: Floats, body: Floats, law_numbers: Any,
    wheel_law: Floats, rail_law: Floats, symmetric: bool, place: float, speed: float, spin: float, with_slope: bool,
    record_power: bool,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Compute the forces with the projectile at `place` [m] and the wheels at WHEEL [m/s].

    Parameters
    ----------
    active, count : array of int, int
        Nips in contact, and their number.
    pieces : array of int
        Smooth piece of each nip.
    symmetric : bool
        Both sides of every nip are alike and nothing spins: side A stands for both.
    place, speed, spin : float
        Of the projectile [m], [m/s], [rad/s].
    with_slope : bool
        Compute the derivatives by slip and by place too, for an implicit step.
    record_power : bool
        Raise STEP_POWER of each nip to the slip power here [W].

    Returns
    -------
    thrust, turning, thrust_change, turning_change : float
        Force along the barrel, sum of the forces that spin the projectile [N], and their derivatives by place at fixed
        speeds [N/m]. SLIP [m/s], FORCE [N] and RATE of the wheel [m/s^2] of each side are written to `sides`.
    """
    speed = max(speed, LEAST_SPEED)
    creep, around = body[CREEP], body[HALF_WIDTH] * spin
    weight = 2.0 if symmetric else 1.0
    thrust = turning = thrust_change = turning_change = 0.0
    for n in range(count):
        k = active[n]
        a = 2 * k
        offset = place - nips[k, AXIS]
        normal, cosine, sine, push = press(nips, k, pieces[k], offset)
        wheel = sides[a, WHEEL]
        slip = wheel - speed * cosine - around
        traction, steepness = grip(law_numbers[0], wheel_law, slip, creep)
        force = normal * traction
        torque, torque_slope = motor(sides, a, wheel)
        sides[a, SLIP], sides[a, FORCE], sides[a, RATE] = slip, force, sides[a, BRAKE] * force + sides[a, GAIN] * torque
        thrust += weight * force * cosine + push
        if k == 0 and offset < body[PUSH_END]:
            thrust += body[PUSH]
        turning += force
        power = weight * force * slip
        normal_change = cosine_change = sine_change = force_change = 0.0
        if with_slope:
            steepness *= normal
            normal_change, cosine_change, sine_change, push_change = press_change(
                nips, k, pieces[k], offset, normal, cosine, sine
            )
            slip_change = -speed * cosine_change
            force_change = normal_change * traction + steepness * slip_change
            thrust_change += weight * (force_change * cosine + force * cosine_change) + push_change
            turning_change += force_change
            sides[a, COSINE], sides[a, FORCE_BY_SLIP], sides[a, COUPLING] = cosine, steepness, 0.0
            sides[a, TORQUE_BY_SPEED] = torque_slope
            sides[a, SLIP_BY_PLACE], sides[a, FORCE_BY_PLACE], sides[a, RATE_BY_PLACE] = (
                slip_change, force_change, sides[a, BRAKE] * force_change,
            )  # fmt: skip
        if not symmetric:
            b = a + 1
            wheel = sides[b, WHEEL]
            coupling = 0.0
            if nips[k, NIP_LAYOUT] == RAIL:
                pressed, pressed_change = normal, normal_change
                if nips[k, HEIGHT] > 0.0:
                    pressed_change = normal_change * cosine + normal * cosine_change
                    pressed_change -= force_change * sine + force * sine_change
                    pressed = normal * cosine - force * sine
                    coupling = -sine
                    if not pressed > 0.0:
                        pressed = pressed_change = coupling = 0.0
                normal, normal_change, cosine, cosine_change = pressed, pressed_change, 1.0, 0.0
                slip = wheel - speed + around
                traction, steepness = grip(law_numbers[1], rail_law, slip, creep)
                coupling *= traction
            else:
                slip = wheel - speed * cosine + around
                traction, steepness = grip(law_numbers[0], wheel_law, slip, creep)
            force = normal * traction
            torque, torque_slope = motor(sides, b, wheel)
            sides[b, SLIP], sides[b, FORCE] = slip, force
            sides[b, RATE] = sides[b, BRAKE] * force + sides[b, GAIN] * torque
            thrust += force * cosine
            turning -= force
            power += force * slip
            if with_slope:
                steepness *= normal
                slip_change = -speed * cosine_change
                force_change = normal_change * traction + steepness * slip_change
                thrust_change += force_change * cosine + force * cosine_change
                turning_change -= force_change
                sides[b, COSINE], sides[b, FORCE_BY_SLIP], sides[b, COUPLING], sides[b, TORQUE_BY_SPEED] = (
                    cosine, steepness, coupling, torque_slope,
                )  # fmt: skip
                sides[b, SLIP_BY_PLACE], sides[b, FORCE_BY_PLACE], sides[b, RATE_BY_PLACE] = (
                    slip_change, force_change, sides[b, BRAKE] * force_change,
                )  # fmt: skip
        if record_power:
            nips[k, STEP_POWER] = max(nips[k, STEP_POWER], power)
    return thrust, turning, thrust_change, turning_change

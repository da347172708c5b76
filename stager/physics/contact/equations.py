"""The equations of motion: forces of all nips in contact at one place.

A nip has three smooth pieces: before the axis plane, along a rod's length (empty for round shapes), and behind it.
`offset` is the place of the projectile, or of a rod's front end, past the axis plane [m].

Friction acts along the tangent of each side, F = μ(|s|)·N·tanh(s/ε), with the slips
s_A = u_A − (v cos φ + rΩ) and s_B = u_B − (v cos φ_B − rΩ). A rail reacts to a round projectile with
N_B = max(0, N cos φ − F_A sin φ), to a rod with N. Laws have numbers here, and one compiled function evaluates them.
"""

from __future__ import annotations

from math import copysign, exp, sqrt
from typing import Any

from stager.physics.compiled import builds, compiled, inlined
from stager.physics.contact.columns import (
    AXIS, BRAKE, COSINE, COUPLING, CREEP, DEPTH, FORCE, FORCE_BY_PLACE, FORCE_BY_SLIP, GAIN, HALF_WIDTH, HEIGHT, HELD,
    LENGTH, NIP_EXPONENT, NIP_LAYOUT, NIP_REBOUND, NIP_STIFFNESS, NORMALS, PUSH, PUSH_END, RAIL, RAMP, RATE,
    RATE_BY_PLACE, REACH, ROLLING, SLIP, SLIP_BY_PLACE, TORQUE_BY_SPEED, TORQUE_HIGH, TORQUE_LOW,
    TORQUE_SLOPE, WHEEL,
)  # fmt: skip
from stager.physics.friction import FORMULAS, Formula, Law, curve, packed, tables


def number_and_values(law: Any) -> tuple[int, tuple[Any, ...]]:
    """Return the number of a law's formula and its values, floats or arrays over the batch.

    A law that is not registered is sampled through its `coefficient`: a cubic through many points and slopes, with an
    error of about 1e-9 for a smooth law.
    """
    if isinstance(law, Law) and law.formulas[law.formula] in FORMULAS:
        return FORMULAS.index(law.formulas[law.formula]), law.values()
    return FORMULAS.index(curve), tuple(packed(*tables(law)))


def dispatch(formulas: tuple[Formula, ...]) -> Any:
    """Return a compiled function of (number, slip [m/s], values) that evaluates one of `formulas`.

    Its source, one branch a formula, is generated: the compiler cannot call a function out of a tuple.
    """
    if not builds:
        return lambda number, slip, values: formulas[number](slip, values)
    scope: dict[str, Any] = {
        f"formula_{number}": compiled(formula) if formula is curve else inlined(formula)
        for number, formula in enumerate(formulas)
    }
    branches = (f" if number == {number}: return formula_{number}(slip, values)" for number in range(len(formulas)))
    exec("\n".join(["def coefficient(number, slip, values):", *branches, " return slip, slip"]), scope)
    return inlined(scope["coefficient"])


coefficient: Any = dispatch(FORMULAS)
"""Compiled (number, slip [m/s], values) → coefficient [-] and slope [s/m]."""


MIDDLE = 1
"""The piece along a rod's length."""
CLOSING = 2
"""The piece behind the axis plane, where the rebound's share of the force acts."""


@inlined
def power(base: float, exponent: float) -> Any:
    """Return base**exponent, with shortcuts for the usual exponents."""
    if exponent == 1.0:
        return base
    if exponent == 1.5:
        return base * sqrt(base)
    if exponent == 0.5:
        return sqrt(base)
    if exponent == 0.0:
        return 1.0
    return base**exponent


@inlined
def press(nips: Floats, k: int, piece: int, offset: float) -> tuple[float, float, float, float]:
    """Return normal force [N], cos φ and sin φ of one side, and the normal forces' component along the barrel [N].

    Round: c(x) = reach − √(x² + h²), N = k cⁿ, sin φ = x/D. Rod: c = d (1 − (ξ/a_r)²), component −N dc/dξ, along its
    length less the rolling loss.
    """
    strength = nips[k, NIP_STIFFNESS]
    if piece == CLOSING:
        strength *= nips[k, NIP_REBOUND]
        offset -= nips[k, LENGTH]
    if nips[k, HEIGHT] > 0.0:
        height = nips[k, HEIGHT]
        distance = sqrt(offset * offset + height * height)
        normal = strength * power(max(nips[k, REACH] - distance, 0.0), nips[k, NIP_EXPONENT])
        inverse = 1.0 / distance
        sine = offset * inverse
        return normal, height * inverse, sine, nips[k, NORMALS] * normal * sine
    if piece == MIDDLE:
        return strength * power(nips[k, DEPTH], nips[k, NIP_EXPONENT]), 1.0, 0.0, -nips[k, NORMALS] * nips[k, ROLLING]
    crush, slope, _ = ramp(nips, k, offset)
    normal = strength * power(crush, nips[k, NIP_EXPONENT])
    return normal, 1.0, 0.0, -nips[k, NORMALS] * normal * slope


@inlined
def ramp(nips: Floats, k: int, offset: float) -> tuple[float, float, float]:
    """Return the crush on a rod's ramp [m], its first and second derivative, at `offset` from the full crush [m]."""
    place = offset / nips[k, RAMP]
    bend = -2.0 * nips[k, DEPTH] / (nips[k, RAMP] * nips[k, RAMP])
    return max(nips[k, DEPTH] * (1.0 - place * place), 0.0), bend * offset, bend


@inlined
def press_change(
    nips: Floats, k: int, piece: int, offset: float, normal: float, cosine: float, sine: float
) -> tuple[float, float, float, float]:
    """Return the derivatives by the offset [1/m] of the results of `press`.

    Crush falls by sin φ, cos φ by cos φ sin φ/D, sin φ rises by cos² φ/D, with D = h/cos φ.
    """
    strength, exponent = nips[k, NIP_STIFFNESS], nips[k, NIP_EXPONENT]
    if piece == CLOSING:
        strength *= nips[k, NIP_REBOUND]
        offset -= nips[k, LENGTH]
    if nips[k, HEIGHT] > 0.0:
        bend = cosine * cosine / nips[k, HEIGHT]
        crush = nips[k, REACH] - nips[k, HEIGHT] / cosine
        normal_change = 0.0
        if crush > 0.0:
            normal_change = -strength * exponent * power(crush, exponent - 1.0) * sine
        opening = bend * cosine
        return normal_change, -bend * sine, opening, nips[k, NORMALS] * (normal_change * sine + normal * opening)
    if piece == MIDDLE:
        return 0.0, 0.0, 0.0, 0.0
    crush, slope, bend = ramp(nips, k, offset)
    normal_change = strength * exponent * power(crush, exponent - 1.0) * slope if crush > 0.0 else 0.0
    return normal_change, 0.0, 0.0, -nips[k, NORMALS] * (normal_change * slope + normal * bend)


@compiled
def stored(nips: Floats, k: int, crush: float) -> Any:
    """Return the elastic energy of all sides at the crush of each [m] [J]."""
    exponent = nips[k, NIP_EXPONENT]
    return nips[k, NORMALS] * nips[k, NIP_STIFFNESS] * power(crush, exponent) * crush / (exponent + 1.0)


@compiled
def crush_loss(nips: Floats, k: int, offset: float) -> Any:
    """Return the work of the normal forces up to `offset` [m] that is not given back [J]."""
    length = nips[k, LENGTH]
    past = offset - min(max(offset, 0.0), length)
    if nips[k, HEIGHT] > 0.0:
        full = nips[k, REACH] - nips[k, HEIGHT]
        crush = max(nips[k, REACH] - sqrt(past * past + nips[k, HEIGHT] * nips[k, HEIGHT]), 0.0)
    else:
        full, crush = nips[k, DEPTH], ramp(nips, k, past)[0]
    left = stored(nips, k, crush)
    if offset < 0.0:
        return left
    all_of_it = stored(nips, k, full)
    rolled = nips[k, NORMALS] * nips[k, ROLLING] * min(offset, length)
    return all_of_it - nips[k, NIP_REBOUND] * (all_of_it - left) + rolled


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
    return thrust, turning, thrust_change, turning_change

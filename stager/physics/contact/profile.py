"""Normal force of a nip along the barrel.

A nip has three smooth pieces: before the axis plane, along a rod's length (empty for round shapes), and behind it.
`offset` is the place of the projectile, or of a rod's front end, past the axis plane [m].
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from stager.physics.compiled import compiled, inlined
from stager.physics.contact.columns import (
    DEPTH, HEIGHT, LENGTH, NIP_EXPONENT, NIP_REBOUND, NIP_STIFFNESS, NORMALS, RAMP, REACH, ROLLING,
)  # fmt: skip

Floats = Any
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

"""Normal force of a nip along the barrel.

A round projectile has two smooth pieces, before and behind the axis plane, a rod three: front ramp, length, rear ramp.
`offset` is the projectile's place (a rod: its front end's) past the axis plane [m].
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from stager.physics.compiled import compiled
from stager.physics.contact.columns import (
    DEPTH,
    HEIGHT,
    LENGTH,
    NIP_EXPONENT,
    NIP_REBOUND,
    NIP_STIFFNESS,
    NORMALS,
    RAMP,
    REACH,
    ROLLING,
)  # fmt: skip

Floats = Any
CLOSING, MIDDLE, REAR = 1, 1, 2


@compiled
def power(base: float, exponent: float) -> float:
    """Return base**exponent, quick for the usual exponents."""
    if exponent == 1.0:
        return base
    if exponent == 1.5:
        return base * sqrt(base)
    if exponent == 0.5:
        return sqrt(base)
    if exponent == 0.0:
        return 1.0
    return base**exponent


@compiled
def press(nip: Floats, piece: int, offset: float) -> tuple[float, float, float, float]:
    """Return N [N], cos φ and sin φ of one side, and the normals' push along the barrel [N].

    Round: c(x) = reach − √(x² + h²), N = k cⁿ, sin φ = x/D. Rod: c = d (1 − (ξ/a_r)²), push −N dc/dξ, less the rolling
    loss along its length.
    """
    strength = nip[NIP_STIFFNESS]
    if nip[LENGTH] < 0.0:
        if piece == CLOSING:
            strength *= nip[NIP_REBOUND]
        height = nip[HEIGHT]
        distance = sqrt(offset * offset + height * height)
        normal = strength * power(max(nip[REACH] - distance, 0.0), nip[NIP_EXPONENT])
        sine = offset / distance
        return normal, height / distance, sine, nip[NORMALS] * normal * sine
    if piece == MIDDLE:
        return strength * power(nip[DEPTH], nip[NIP_EXPONENT]), 1.0, 0.0, -nip[NORMALS] * nip[ROLLING]
    if piece == REAR:
        strength *= nip[NIP_REBOUND]
        offset -= nip[LENGTH]
    crush, slope, _ = ramp(nip, offset)
    normal = strength * power(crush, nip[NIP_EXPONENT])
    return normal, 1.0, 0.0, -nip[NORMALS] * normal * slope


@compiled
def ramp(nip: Floats, offset: float) -> tuple[float, float, float]:
    """Return the crush on a rod's ramp [m] and its first and second derivative, `offset` past the full crush [m]."""
    place = offset / nip[RAMP]
    bend = -2.0 * nip[DEPTH] / (nip[RAMP] * nip[RAMP])
    return max(nip[DEPTH] * (1.0 - place * place), 0.0), bend * offset, bend


@compiled
def press_change(
    nip: Floats, piece: int, offset: float, normal: float, cosine: float, sine: float
) -> tuple[float, float, float, float]:
    """Return the derivatives by the offset [1/m] of what `press` returned there.

    Crush falls by sin φ, cos φ by cos φ sin φ/D, sin φ rises by cos² φ/D, with D = h/cos φ.
    """
    exponent = nip[NIP_EXPONENT]
    if nip[LENGTH] < 0.0:
        bend = cosine * cosine / nip[HEIGHT]
        crush = nip[REACH] - nip[HEIGHT] / cosine
        steep = 0.0
        if crush > 0.0:
            steep = -nip[NIP_STIFFNESS] * exponent * power(crush, exponent - 1.0) * sine
            if piece == CLOSING:
                steep *= nip[NIP_REBOUND]
        opening = bend * cosine
        return steep, -bend * sine, opening, nip[NORMALS] * (steep * sine + normal * opening)
    if piece == MIDDLE:
        return 0.0, 0.0, 0.0, 0.0
    strength = nip[NIP_STIFFNESS]
    if piece == REAR:
        strength *= nip[NIP_REBOUND]
        offset -= nip[LENGTH]
    crush, slope, bend = ramp(nip, offset)
    steep = strength * exponent * power(crush, exponent - 1.0) * slope if crush > 0.0 else 0.0
    return steep, 0.0, 0.0, -nip[NORMALS] * (steep * slope + normal * bend)


@compiled
def stored(nip: Floats, crush: float) -> float:
    """Return the energy stored in all sides at a crush [m] of each [J]."""
    return nip[NORMALS] * nip[NIP_STIFFNESS] * power(crush, nip[NIP_EXPONENT]) * crush / (nip[NIP_EXPONENT] + 1.0)


@compiled
def crush_loss(nip: Floats, offset: float) -> float:
    """Return the energy that the normals have taken on the way to `offset` and not given back [J]."""
    rebound = nip[NIP_REBOUND]
    if nip[LENGTH] < 0.0:
        full = stored(nip, nip[REACH] - nip[HEIGHT])
        distance = sqrt(offset * offset + nip[HEIGHT] * nip[HEIGHT])
        left = stored(nip, max(nip[REACH] - distance, 0.0))
        return left if offset < 0.0 else full - rebound * (full - left)
    full = stored(nip, nip[DEPTH])
    if offset < 0.0:
        return stored(nip, ramp(nip, offset)[0])
    rolled = nip[NORMALS] * nip[ROLLING] * min(offset, nip[LENGTH])
    if offset <= nip[LENGTH]:
        return full + rolled
    left = stored(nip, ramp(nip, offset - nip[LENGTH])[0])
    return full - rebound * (full - left) + rolled

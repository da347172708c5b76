"""Normal force along the barrel, for round shapes and for rods.

A profile belongs to one nip and one smooth piece of the way through it; `at(offset)` takes the projectile's
place past the axis plane (a rod: its front end's) [m].
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from stager.hardware.arrays import Floats


class Profile(Protocol):
    """Normal force N [N] of one side, cos φ and sin φ of its tilt, and the normals' push along the barrel [N]."""

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """(N, cos φ, sin φ, push) at `offset` [m], each shape (lanes,) or (1,)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundProfile:
    """c(x) = reach − √(x² + h²), N = factor·k·cⁿ, sin φ = x/D.

    reach R + r with growth [m]; height h [m]; stiffness k; exponent n; factor: 1 as crush grows, rebound as it
    falls, 0 out of contact; sides: how many normals push along the barrel (2; on a rail 1).
    """

    reach: Floats
    height: Floats
    stiffness: Floats
    exponent: Floats
    factor: Floats
    sides: float

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile."""
        distance = np.sqrt(offset * offset + self.height * self.height)
        crush = np.maximum(self.reach - distance, 0.0)
        normal = self.factor * self.stiffness * power(crush, self.exponent)
        sine = offset / distance
        return normal, self.height / distance, sine, self.sides * normal * sine


@dataclass(frozen=True, slots=True, kw_only=True)
class RodProfile:
    """c = d(1 − ramp·((ξ − end)/a_r)²), normals' push −N dc/dξ, less the rolling loss along the length.

    depth d [m]; ramp_length a_r [m]; end: where this ramp is full [m]; ramp: 1 on a ramp, 0 between;
    rolling: rolling loss of one side as a force [N]; factor, stiffness, exponent, sides as for round shapes.
    """

    depth: Floats
    ramp_length: Floats
    end: Floats
    ramp: Floats
    rolling: Floats
    stiffness: Floats
    exponent: Floats
    factor: Floats
    sides: float

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile."""
        place = (offset - self.end) / self.ramp_length
        crush = np.maximum(self.depth * (1.0 - self.ramp * place * place), 0.0)
        normal = self.factor * self.stiffness * power(crush, self.exponent)
        slope = -2.0 * self.depth * self.ramp * place / self.ramp_length
        push = -self.sides * (normal * slope + self.rolling)
        return normal, _ONE, _ZERO, push


_ONE, _ZERO = np.ones(1), np.zeros(1)


def power(base: Floats, exponent: Floats) -> Floats:
    """base**exponent, quick for the exponents 1 and 1.5."""
    if exponent.size == 1:
        if exponent[0] == 1.0:
            return base
        if exponent[0] == 1.5:
            return base * np.sqrt(base)
    return base**exponent


def silent(profile: RoundProfile | RodProfile) -> RoundProfile | RodProfile:
    """The same profile out of contact."""
    return replace(profile, factor=_ZERO)

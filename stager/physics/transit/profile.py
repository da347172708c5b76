"""Normal force along the barrel, for round shapes and for rods.

A profile belongs to one nip and one smooth piece of the way through it; `at(offset)` takes the projectile's
place past the axis plane (a rod: its front end's) [m].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.physics.elementary import power, power_to

Plain = Callable[[float], tuple[float, float, float, float]]
PlainChange = Callable[[float, float, float, float], tuple[float, float, float, float]]


class Profile(Protocol):
    """Normal force N [N] of one side, cos φ and sin φ of its tilt, and the normals' push along the barrel [N]."""

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """(N, cos φ, sin φ, push) at `offset` [m], each shape (lanes,) or (1,)."""
        ...

    def change(
        self, offset: Floats, normal: Floats, cosine: Floats, sine: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Derivatives of `at` by the offset [1/m], where it found `normal` [N], `cosine` and `sine`."""
        ...

    def alone(self) -> tuple[Plain, PlainChange]:
        """`at` and `change` for one lane in plain numbers."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundProfile:
    """c(x) = reach − √(x² + h²), N = strength·cⁿ, sin φ = x/D.

    reach R + r with growth [m]; height h [m]; strength: k as crush grows, rebound·k as it falls, 0 out of contact;
    exponent n; sides: how many normals push along the barrel (2; on a rail 1).
    """

    reach: Floats
    height: Floats
    strength: Floats
    exponent: Floats
    sides: float

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile."""
        distance = offset * offset
        distance += self.height * self.height
        np.sqrt(distance, out=distance)
        crush = self.reach - distance
        np.maximum(crush, _NONE, out=crush)
        normal = self.strength * power(crush, self.exponent)
        sine = offset / distance
        push = normal * sine
        if self.sides != 1.0:
            push *= self.sides
        return normal, self.height / distance, sine, push

    def change(
        self, offset: Floats, normal: Floats, cosine: Floats, sine: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile; crush falls by sin φ, cos φ by cos φ sin φ/D, sin φ rises by cos² φ/D; D = h/cos φ."""
        bend = cosine * cosine
        bend /= self.height
        crush = self.reach - self.height / cosine
        np.maximum(crush, _NONE, out=crush)
        steep = power(crush, self.exponent - 1.0) * sine
        steep *= -self.strength * self.exponent
        steep = np.where(crush > _NONE, steep, _NONE)
        opening = bend * cosine
        push = steep * sine
        push += normal * opening
        if self.sides != 1.0:
            push *= self.sides
        bend *= sine
        return steep, np.negative(bend, out=bend), opening, push

    def alone(self) -> tuple[Plain, PlainChange]:
        """See Profile."""
        reach, height, exponent = self.reach.item(), self.height.item(), self.exponent.item()
        sides, raised, steeper = self.sides, power_to(exponent), power_to(exponent - 1.0)
        scale, squared = self.strength.item(), height * height

        def at(offset: float) -> tuple[float, float, float, float]:
            distance = sqrt(offset * offset + squared)
            crush = reach - distance
            normal = scale * raised(0.0 if crush < 0.0 else crush)
            sine = offset / distance
            return normal, height / distance, sine, sides * normal * sine

        def change(offset: float, normal: float, cosine: float, sine: float) -> tuple[float, float, float, float]:
            bend = cosine * cosine / height
            crush = max(reach - height / cosine, 0.0)
            steep = steeper(crush) * sine * (-scale * exponent) if crush > 0.0 else 0.0
            opening = bend * cosine
            return steep, -(bend * sine), opening, sides * (steep * sine + normal * opening)

        return at, change


@dataclass(frozen=True, slots=True, kw_only=True)
class RodProfile:
    """c = d(1 − ramp·((ξ − end)/a_r)²), normals' push −N dc/dξ, less the rolling loss along the length.

    depth d [m]; ramp_length a_r [m]; end: where this ramp is full [m]; ramp: 1 on a ramp, 0 between;
    rolling: rolling loss of one side as a force [N]; strength, exponent, sides as for round shapes.
    """

    depth: Floats
    ramp_length: Floats
    end: Floats
    ramp: Floats
    rolling: Floats
    strength: Floats
    exponent: Floats
    sides: float

    def at(self, offset: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile."""
        place = (offset - self.end) / self.ramp_length
        crush = np.maximum(self.depth * (1.0 - self.ramp * place * place), 0.0)
        normal = self.strength * power(crush, self.exponent)
        slope = -2.0 * self.depth * self.ramp * place / self.ramp_length
        push = -self.sides * (normal * slope + self.rolling)
        return normal, _ONE, _ZERO, push

    def change(
        self, offset: Floats, normal: Floats, cosine: Floats, sine: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """See Profile."""
        place = (offset - self.end) / self.ramp_length
        crush = np.maximum(self.depth * (1.0 - self.ramp * place * place), 0.0)
        slope = -2.0 * self.depth * self.ramp * place / self.ramp_length
        bend = -2.0 * self.depth * self.ramp / (self.ramp_length * self.ramp_length)
        steep = np.where(crush > 0.0, self.strength * self.exponent * power(crush, self.exponent - 1.0) * slope, 0.0)
        return steep, _ZERO, _ZERO, -self.sides * (steep * slope + normal * bend)

    def alone(self) -> tuple[Plain, PlainChange]:
        """See Profile."""
        depth, length, end, ramp = (x.item() for x in (self.depth, self.ramp_length, self.end, self.ramp))
        rolling, exponent, sides = self.rolling.item(), self.exponent.item(), self.sides
        scale, raised, steeper = self.strength.item(), power_to(exponent), power_to(exponent - 1.0)

        def at(offset: float) -> tuple[float, float, float, float]:
            place = (offset - end) / length
            crush = max(depth * (1.0 - ramp * place * place), 0.0)
            normal = scale * raised(crush)
            slope = -2.0 * depth * ramp * place / length
            return normal, 1.0, 0.0, -sides * (normal * slope + rolling)

        def change(offset: float, normal: float, cosine: float, sine: float) -> tuple[float, float, float, float]:
            place = (offset - end) / length
            crush = max(depth * (1.0 - ramp * place * place), 0.0)
            slope, bend = -2.0 * depth * ramp * place / length, -2.0 * depth * ramp / (length * length)
            steep = scale * exponent * steeper(crush) * slope if crush > 0.0 else 0.0
            return steep, 0.0, 0.0, -sides * (steep * slope + normal * bend)

        return at, change


_ONE, _ZERO, _NONE = np.ones(1), np.zeros(1), np.array(0.0)

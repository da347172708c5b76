"""Normal force along one contact, for all set speeds of an interval at once.

Wheels grow with set speed, so the crush has a least and a greatest value at each place; tilt does not change, as the
axes stay where they are. Out of contact the least normal is 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.rotor import nip_growth


@dataclass(frozen=True, slots=True)
class Pressed:
    """At one place, arrays (lanes,): normal N of a side between `low` and `high` [N], cos φ [-], the normal's share
    along the barrel between `tilt_low` and `tilt_high` [-], a loss along the barrel of a side in the same way [N]."""

    low: Floats
    high: Floats
    cosine: Floats
    tilt_low: Floats
    tilt_high: Floats
    loss_low: Floats
    loss_high: Floats


@dataclass(frozen=True, slots=True)
class Piece:
    """A smooth piece of the way, in lanes: from `start` [m], `span` long [m], bent by `bend`: −1 opening x = τ²,
    1 closing, 0 straight."""

    start: Floats
    span: Floats
    bend: int

    def at(self, parameter: Floats) -> tuple[Floats, Floats]:
        """Place [m] and its derivative by the parameter 0 … 1 [m]."""
        if self.bend < 0:
            return self.start + self.span * parameter**2, 2.0 * self.span * parameter
        if self.bend > 0:
            left = 1.0 - parameter
            return self.start + self.span * (1.0 - left**2), 2.0 * self.span * left
        return self.start + self.span * parameter, np.broadcast_to(self.span, parameter.shape)


class Press(Protocol):
    """A contact in lanes."""

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Its smooth pieces in turn."""
        ...

    def at(self, number: int, place: Floats) -> Pressed:
        """Return what presses at `place` [m], in piece `number`."""
        ...

    @property
    def stored(self) -> Floats:
        """Greatest crush energy of one side [J]."""
        ...

    @property
    def most_tilted(self) -> Floats:
        """Least cos φ [-]."""
        ...


@dataclass(frozen=True, slots=True)
class RoundPress:
    """c = reach − √(x² + h²) for reaches from least to greatest; see physics.contact.profile."""

    least: Floats
    most: Floats
    height: float
    stiffness: float
    exponent: Floats
    rebound: float

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """See Press."""
        half = np.sqrt(self.most**2 - self.height**2)
        return Piece(-half, half, -1), Piece(np.zeros_like(half), half, 1)

    @property
    def stored(self) -> Floats:
        """See Press."""
        return _energy(self.stiffness, self.most - self.height, self.exponent)

    @property
    def most_tilted(self) -> Floats:
        """See Press."""
        return self.height / self.most

    def at(self, number: int, place: Floats) -> Pressed:
        """See Press."""
        distance = np.sqrt(place * place + self.height**2)
        factor = self.stiffness * (self.rebound if number else 1.0)
        low, high = (
            factor * power(np.maximum(reach - distance, 0.0), self.exponent) for reach in (self.least, self.most)
        )
        sine = place / distance
        return Pressed(low, high, self.height / distance, sine, sine, _NONE, _NONE)


@dataclass(frozen=True, slots=True)
class RodPress:
    """A rod: ramp, its length, ramp; fields for the least and the greatest growth.

    Along a ramp dc/dξ = −(ξ − end)/(R + growth).
    """

    depth: tuple[Floats, Floats]
    radius: tuple[Floats, Floats]
    ramp: tuple[Floats, Floats]
    rolling: tuple[Floats, Floats]
    length: float
    stiffness: float
    exponent: Floats
    rebound: float

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """See Press."""
        ramp = self.ramp[1]
        start = np.zeros_like(ramp)
        return Piece(-ramp, ramp, -1), Piece(start, start + self.length, 0), Piece(start + self.length, ramp, 1)

    @property
    def stored(self) -> Floats:
        """See Press."""
        return _energy(self.stiffness, self.depth[1], self.exponent)

    @property
    def most_tilted(self) -> Floats:
        """See Press."""
        return _ONE

    def at(self, number: int, place: Floats) -> Pressed:
        """See Press."""
        end = self.length if number == 2 else 0.0
        past = np.zeros_like(place) if number == 1 else place - end
        factor = self.stiffness * (self.rebound if number == 2 else 1.0)
        low, high = (
            factor * power(np.maximum(depth * (1.0 - (past / ramp) ** 2), 0.0), self.exponent)
            for depth, ramp in zip(self.depth, self.ramp, strict=True)
        )
        tilts = past / self.radius[0], past / self.radius[1]
        losses = (-self.rolling[1], -self.rolling[0]) if number == 1 else (_NONE, _NONE)
        return Pressed(low, high, _ONE, np.minimum(*tilts), np.maximum(*tilts), *losses)


def _energy(stiffness: float, crush: Floats, exponent: Floats) -> Floats:
    return stiffness * power(crush, exponent) * crush / (exponent + 1.0)


def power(base: Floats, exponent: Floats) -> Floats:
    """Return base**exponent, shapes broadcast; quick for one exponent of 1 or 1.5."""
    if exponent.size == 1 and exponent.flat[0] == 1.0:
        return base
    if exponent.size == 1 and exponent.flat[0] == 1.5:
        found: Floats = base * np.sqrt(base)
        return found
    return np.asarray(base**exponent)


_NONE, _ONE = np.zeros(1), np.ones(1)


def press_between(launcher: Launcher, stage: Stage, low: Floats, high: Floats) -> Press:
    """The contact of `stage` with set speeds between `low` and `high` [m/s], both sides alike, arrays (lanes,)."""
    grown = [
        np.broadcast_to(np.asarray(nip_growth(stage, speed, speed), dtype=np.float64), low.shape)
        for speed in (low, high)
    ]
    projectile, contact = launcher.projectile, launcher.contact
    crush = stage.layout.crush_share * float(stage.crush)
    exponent = np.atleast_1d(np.asarray(contact.exponent, dtype=np.float64))
    stiffness, rebound = float(contact.stiffness), float(contact.rebound)
    if projectile.shape.rolls:
        rest = float(stage.wheel.radius + projectile.radius)
        return RoundPress(rest + grown[0], rest + grown[1], rest - crush, stiffness, exponent, rebound)
    if projectile.length is None:
        raise ValueError("a rod needs a length")
    depth = crush + grown[0], crush + grown[1]
    radius = stage.wheel.radius + grown[0], stage.wheel.radius + grown[1]
    ramp = np.sqrt(2 * radius[0] * depth[0]), np.sqrt(2 * radius[1] * depth[1])
    rolling = [(1 - rebound) * _energy(stiffness, d, exponent) / a for d, a in zip(depth, ramp, strict=True)]
    return RodPress(
        depth, radius, ramp, (rolling[0], rolling[1]), float(projectile.length), stiffness, exponent, rebound
    )

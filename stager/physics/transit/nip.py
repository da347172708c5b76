"""One nip in lanes: where it touches, its profile along the way, what it has cost in crush."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.model.contact import Contact
from stager.model.projectile import Projectile
from stager.model.stage import Stage
from stager.physics.growth import swell
from stager.physics.transit.profile import Profile, RodProfile, RoundProfile
from stager.physics.transit.segment import Bend, Segment, segment


class Nip(Protocol):
    """Offsets are the projectile's place (a rod: its front end's) past the axis plane [m]."""

    @property
    def breaks(self) -> tuple[Floats, ...]:
        """Offsets where the normal force is not smooth, first and last included, each (lanes,) or (1,)."""
        ...

    def profile(self, offset: Floats) -> Profile:
        """The profile of the smooth piece that holds `offset`."""
        ...

    def pieces(self) -> tuple[Segment, ...]:
        """The smooth pieces in turn, for a nip that acts alone."""
        ...

    def share(self, weight: float) -> Nip:
        """The part of it that acts on 1/weight of the projectile."""
        ...

    def crush_loss(self, offset: Floats) -> Floats:
        """Energy that the normals have taken on the way to `offset` and not given back [J]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundNip:
    """A round projectile between two sides; see RoundProfile. rebound e [-]."""

    reach: Floats
    height: Floats
    stiffness: Floats
    exponent: Floats
    rebound: Floats
    sides: float

    @property
    def half_length(self) -> Floats:
        """a = √((R + r)² − h²) [m]."""
        return np.sqrt(self.reach**2 - self.height**2)

    @property
    def breaks(self) -> tuple[Floats, ...]:
        """See Nip."""
        half = self.half_length
        return -half, np.zeros_like(half), half

    def profile(self, offset: Floats) -> RoundProfile:
        """See Nip."""
        touching = np.abs(offset) < self.half_length
        factor = np.where(touching, np.where(offset < 0.0, 1.0, self.rebound), 0.0)
        return self._pressed(factor * self.stiffness)

    def _pressed(self, strength: Floats) -> RoundProfile:
        return RoundProfile(
            reach=self.reach, height=self.height, strength=strength, exponent=self.exponent, sides=self.sides
        )

    def pieces(self) -> tuple[Segment, ...]:
        """See Nip."""
        half = self.half_length
        return (
            segment(-half, half, Bend.OPENING, (self._pressed(self.stiffness),)),
            segment(np.zeros(1), half, Bend.CLOSING, (self._pressed(self.rebound * self.stiffness),)),
        )

    def share(self, weight: float) -> RoundNip:
        """See Nip."""
        return replace(self, sides=self.sides / weight)

    def crush_loss(self, offset: Floats) -> Floats:
        """See Nip."""
        full = _energy(self, self.reach - self.height)
        left = _energy(self, np.maximum(self.reach - np.hypot(offset, self.height), 0.0))
        return np.where(offset < 0.0, left, full - self.rebound * (full - left))


@dataclass(frozen=True, slots=True, kw_only=True)
class RodNip:
    """A rod between two sides; see RodProfile. length of the rod [m]; rebound e [-]."""

    depth: Floats
    ramp_length: Floats
    length: Floats
    stiffness: Floats
    exponent: Floats
    rebound: Floats
    sides: float

    @property
    def breaks(self) -> tuple[Floats, ...]:
        """See Nip."""
        return -self.ramp_length, np.zeros_like(self.ramp_length), self.length, self.length + self.ramp_length

    @property
    def rolling(self) -> Floats:
        """Rolling loss of one side, (1 − e) k dⁿ⁺¹ / ((n + 1) a_r) [J/m]."""
        return (1 - self.rebound) * _energy(self, self.depth) / (self.sides * self.ramp_length)

    def profile(self, offset: Floats) -> RodProfile:
        """See Nip."""
        front, rear = offset < 0.0, offset > self.length
        touching = (offset > -self.ramp_length) & (offset < self.length + self.ramp_length)
        factor = np.where(touching, np.where(rear, self.rebound, 1.0), 0.0)
        return RodProfile(
            depth=self.depth, ramp_length=self.ramp_length, end=np.where(rear, self.length, 0.0),
            ramp=np.where(front | rear, 1.0, 0.0), rolling=np.where(touching & ~front & ~rear, self.rolling, 0.0),
            strength=factor * self.stiffness, exponent=self.exponent, sides=self.sides,
        )  # fmt: skip

    def pieces(self) -> tuple[Segment, ...]:
        """See Nip."""
        ramp, length = self.ramp_length, self.length
        front, middle, rear = (self.profile(place) for place in (-ramp / 2, length / 2, length + ramp / 2))
        return (
            segment(-ramp, ramp, Bend.OPENING, (front,)),
            segment(np.zeros(1), length, Bend.STRAIGHT, (middle,)),
            segment(length, ramp, Bend.CLOSING, (rear,)),
        )

    def share(self, weight: float) -> RodNip:
        """See Nip."""
        return replace(self, sides=self.sides / weight)

    def crush_loss(self, offset: Floats) -> Floats:
        """See Nip."""
        full = _energy(self, self.depth)
        place = (offset - np.where(offset > self.length, self.length, 0.0)) / self.ramp_length
        left = _energy(self, np.maximum(self.depth * (1 - place**2), 0.0))
        along = self.sides * self.rolling * np.clip(offset, 0.0, self.length)
        on_ramp = np.where(offset > self.length, full - self.rebound * (full - left), full)
        return np.where(offset < 0.0, left, on_ramp) + along


def _energy(nip: RoundNip | RodNip, crush: Floats) -> Floats:
    """Energy stored in all sides at `crush` [J]."""
    return nip.sides * nip.stiffness * crush ** (nip.exponent + 1) / (nip.exponent + 1)


def build_nip(
    projectile: Projectile, contact: Contact, stage: Stage, wheel_speed_a: Floats, wheel_speed_b: Floats
) -> Nip:
    """The nip of `stage` at these set speeds [m/s], all in lanes.

    Growth adds to R and to the depth alike, the distance of the axes is fixed.
    """
    layout, wheel = stage.layout, stage.wheel
    grown = np.atleast_1d(np.asarray(swell(stage, wheel_speed_a, wheel_speed_b), dtype=np.float64))
    depth = np.atleast_1d(layout.crush_share * np.asarray(stage.crush))
    sides = 2.0 if layout.side_b_turns else 1.0
    stiffness, exponent, rebound = (
        np.atleast_1d(np.asarray(value, dtype=np.float64))
        for value in (contact.stiffness, contact.exponent, contact.rebound)
    )
    if projectile.shape.rolls:
        rest = np.atleast_1d(wheel.radius + projectile.radius)
        return RoundNip(
            reach=rest + grown, height=rest - depth, stiffness=stiffness,
            exponent=exponent, rebound=rebound, sides=sides,
        )  # fmt: skip
    if projectile.length is None:
        raise ValueError("a rod needs a length")
    depth = depth + grown
    return RodNip(
        depth=depth, ramp_length=np.sqrt(2 * (wheel.radius + grown) * depth), stiffness=stiffness,
        exponent=exponent, rebound=rebound, sides=sides, length=np.atleast_1d(np.asarray(projectile.length)),
    )  # fmt: skip

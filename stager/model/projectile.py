"""The thing that is thrown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Number
from stager.model.flight import Spread


class Shape(Protocol):
    """What the physics asks of a shape."""

    @property
    def name(self) -> str:
        """As in a configuration."""
        ...

    @property
    def rolls(self) -> bool:
        """Whether it can turn between the wheels."""
        ...

    @property
    def inertia_factor(self) -> float:
        """β of I_p = β m r² [-]."""
        ...

    def frontal_area(self, projectile: Projectile) -> Number:
        """Return the area seen from the front [m^2]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Projectile:
    """A projectile; fields are floats or arrays over the batch.

    mass [kg]; diameter across the grip [m]; length of a rod [m]; thickness of a disc or ring [m];
    max_acceleration [m/s^2]; max_crush [m]; contact_area that touches what is hit [m^2] (None: unknown);
    mass_spread, diameter_spread: from shot to shot (None: not known).
    """

    shape: Shape
    mass: Number
    diameter: Number
    length: Number | None = None
    thickness: Number | None = None
    max_acceleration: Number | None = None
    max_crush: Number | None = None
    contact_area: Number | None = None
    mass_spread: Spread | None = None
    diameter_spread: Spread | None = None

    @property
    def radius(self) -> Number:
        """Half-width across the grip [m]."""
        return self.diameter / 2

    @property
    def barrel_length(self) -> Number:
        """Length along the barrel [m]: of a rod its length, else the diameter."""
        return self.diameter if self.length is None else self.length

    @property
    def spin_inertia(self) -> Number:
        """Moment of inertia about the spin axis, I_p = β m r² [kg m^2]."""
        return self.shape.inertia_factor * self.mass * self.radius**2

    @property
    def frontal_area(self) -> Number:
        """Area seen from the front [m^2]."""
        return self.shape.frontal_area(self)

    @property
    def known_frontal_area(self) -> Number | None:
        """As `frontal_area`, None where the thickness that it takes is not known."""
        try:
            return self.frontal_area
        except ValueError:
            return None


@dataclass(frozen=True, slots=True)
class RoundShape:
    """A shape that can roll; its frontal area is a circle."""

    name: str
    inertia_factor: float
    rolls: bool = True

    def frontal_area(self, projectile: Projectile) -> Number:
        """Return πr² [m^2]."""
        return np.pi * projectile.radius**2


@dataclass(frozen=True, slots=True)
class FlatShape:
    """A shape that can roll; seen from the front it is a strip, diameter × thickness."""

    name: str
    inertia_factor: float
    rolls: bool = True

    def frontal_area(self, projectile: Projectile) -> Number:
        """Diameter × thickness [m^2].

        Raises ValueError where the thickness is not known.
        """
        if projectile.thickness is None:
            raise ValueError("the frontal area of a disc or ring needs its thickness")
        return projectile.diameter * projectile.thickness


@dataclass(frozen=True, slots=True)
class RodShape:
    """A soft cylinder launched end first: it does not roll."""

    name: str
    inertia_factor: float = 0.5
    rolls: bool = False

    def frontal_area(self, projectile: Projectile) -> Number:
        """Return πr² [m^2]."""
        return np.pi * projectile.radius**2


DISC = FlatShape("disc", 1 / 2)
RING = FlatShape("ring", 1.0)
BALL = RoundShape("ball", 2 / 5)
HOLLOW_BALL = RoundShape("hollow ball", 2 / 3)
ROD = RodShape("rod")
SHAPES: dict[str, Shape] = {shape.name: shape for shape in (DISC, RING, BALL, HOLLOW_BALL, ROD)}

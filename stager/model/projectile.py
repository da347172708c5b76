"""The projectile and its shape, muzzle and target, and standard deviations from shot to shot."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import numpy as np

from stager.model.arrays import Number


class Placement(Enum):
    """Where side A is, seen from behind the launcher; a spinning projectile is deflected away from the faster side."""

    TOP = "top"
    BOTTOM = "bottom"
    LEFT = "left"
    RIGHT = "right"

    @property
    def axis(self) -> tuple[float, float, float]:
        """Return the unit vector of a positive spin: (forward, up, right)."""
        return {
            Placement.TOP: (0.0, 0.0, -1.0), Placement.BOTTOM: (0.0, 0.0, 1.0), Placement.LEFT: (0.0, -1.0, 0.0),
            Placement.RIGHT: (0.0, 1.0, 0.0),
        }[self]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation from shot to shot, in the quantity's own unit or, `relative`, as a share of it."""

    value: float
    relative: bool = False

    def of(self, base: Number) -> Number:
        """Return the standard deviation of a quantity that is `base`, in its unit."""
        return self.value * base if self.relative else self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Flight:
    """Muzzle, target and drag.

    height: of the muzzle above the ground where projectiles land [m]
    tilt: of the barrel above level [rad]
    target: its distance [m]; None: no target
    side_a: None: unknown
    drag: coefficient [-]; None: that of a smooth sphere
    tilt_spread, heading_spread: of the direction from shot to shot [rad]
    """

    height: Number
    tilt: Number = 0.0
    target: Number | None = None
    side_a: Placement | None = None
    drag: Number | None = None
    tilt_spread: Spread | None = None
    heading_spread: Spread | None = None


class Shape(Protocol):
    """What the physics needs of a shape."""

    @property
    def name(self) -> str:
        """Name in configurations."""
        ...

    @property
    def rolls(self) -> bool:
        """Whether it can spin between the wheels."""
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

    mass [kg]
    diameter: across the grip [m]
    length: of a rod [m]
    thickness: of a disc or ring [m]; None: unknown
    max_acceleration [m/s^2], max_crush [m]: what it withstands; None: no limit
    contact_area: of the impact on a target [m^2]; None: unknown
    mass_spread, diameter_spread: from shot to shot; None: unknown
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
        """Return half the diameter [m]."""
        return self.diameter / 2

    @property
    def barrel_length(self) -> Number:
        """Return the extent along the barrel [m]: the length of a rod, else the diameter."""
        return self.diameter if self.length is None else self.length

    @property
    def spin_inertia(self) -> Number:
        """Return the moment of inertia about the spin axis, I_p = β m r² [kg m^2]."""
        return self.shape.inertia_factor * self.mass * self.radius**2

    @property
    def frontal_area(self) -> Number:
        """Return the area seen from the front [m^2]; raises ValueError where it needs an unknown thickness."""
        return self.shape.frontal_area(self)

    @property
    def known_frontal_area(self) -> Number | None:
        """Return `frontal_area`; None where it needs an unknown thickness."""
        try:
            return self.frontal_area
        except ValueError:
            return None


@dataclass(frozen=True, slots=True)
class RoundShape:
    """A ball."""

    name: str
    inertia_factor: float
    rolls: bool = True

    def frontal_area(self, projectile: Projectile) -> Number:
        """Return πr² [m^2]."""
        return np.pi * projectile.radius**2


@dataclass(frozen=True, slots=True)
class FlatShape:
    """A disc or ring, thrown edge first: it rolls between the wheels."""

    name: str
    inertia_factor: float
    rolls: bool = True

    def frontal_area(self, projectile: Projectile) -> Number:
        """Return diameter × thickness [m^2].

        Raises
        ------
        ValueError
            Where the thickness is unknown.
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

"""Muzzle and target, and standard deviations from shot to shot."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

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

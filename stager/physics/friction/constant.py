"""Coulomb friction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.friction.single import number


@dataclass(frozen=True, slots=True)
class Constant:
    """One coefficient at every slip speed (Coulomb). friction [-], at least 0."""

    name: ClassVar[str] = "constant"
    friction: Number

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Coefficient [-] and slope [s/m] at slip speed `slip` ≥ 0 [m/s]; shapes as `slip`."""
        return np.broadcast_to(self.friction, slip.shape), np.zeros_like(slip)

    def greatest(self, slip: Floats) -> Floats:
        """Greatest coefficient [-] from no slip to `slip` [m/s]."""
        return np.broadcast_to(self.friction, slip.shape)

    def alone(self) -> Callable[[float], tuple[float, float]]:
        """As `coefficient`, for one lane in plain numbers."""
        both = number(self.friction), 0.0
        return lambda slip: both

"""Friction through measured points."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np

from stager.model.arrays import Floats


@dataclass(frozen=True, slots=True)
class Tabulated:
    """Shape-preserving cubic (PCHIP) through measured points; the ends are held.

    slip: increasing slip speeds [m/s], shape (points,); friction: coefficients there [-], shape (points,).
    """

    name: ClassVar[str] = "tabulated"
    slip: tuple[float, ...]
    friction: tuple[float, ...]
    _curve: Any = field(init=False, repr=False, compare=False)
    _slope: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from scipy.interpolate import PchipInterpolator

        curve = PchipInterpolator(self.slip, self.friction, extrapolate=False)
        object.__setattr__(self, "_curve", curve)
        object.__setattr__(self, "_slope", curve.derivative())

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Coefficient [-] and slope [s/m] at slip speed `slip` ≥ 0 [m/s]; shapes as `slip`."""
        low, high = self.slip[0], self.slip[-1]
        held = np.clip(slip, low, high)
        value: Floats = self._curve(held)
        if not steep:
            return value, value
        slope = np.where((slip > low) & (slip < high), self._slope(held), 0.0)
        return value, slope

    def greatest(self, slip: Floats) -> Floats:
        """Greatest coefficient [-] up to `slip` [m/s]; between two points the curve only rises or only falls."""
        passed = np.concatenate([self.friction[:1], np.maximum.accumulate(self.friction)])
        at = np.searchsorted(self.slip, slip, side="right")
        return np.asarray(np.maximum(passed[at], self.coefficient(slip)[0]))

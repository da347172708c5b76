"""Rubber friction that rises, peaks and falls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.elementary import exp, log
from stager.physics.friction.single import number


@dataclass(frozen=True, slots=True)
class Bell:
    """μ(s) = peak · exp(−(ln(s/peak_speed)/width)²), 0 at s = 0.

    peak [-]; peak_speed [m/s]; width [-], in units of ln s.
    A log-bell through one maximum, after Grosch, Proc. R. Soc. A 274 (1963); the form is ours.
    """

    name: ClassVar[str] = "bell"
    peak: Number
    peak_speed: Number
    width: Number

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Coefficient [-] and slope [s/m] at slip speed `slip` ≥ 0 [m/s]; shapes as `slip`."""
        positive = np.maximum(slip, 1e-100)
        logarithm = np.log(positive / self.peak_speed) / self.width
        coefficient = self.peak * np.exp(-(logarithm * logarithm))
        if not steep:
            return coefficient, coefficient
        return coefficient, -2 * coefficient * logarithm / (self.width * positive)

    def greatest(self, slip: Floats) -> Floats:
        """Greatest coefficient [-] up to `slip` [m/s]: at the peak or before it."""
        return self.coefficient(np.minimum(slip, self.peak_speed))[0]

    def alone(self) -> Callable[[float], tuple[float, float]]:
        """As `coefficient`, for one lane in plain numbers."""
        peak, peak_speed, width = number(self.peak), number(self.peak_speed), number(self.width)

        def bell(slip: float) -> tuple[float, float]:
            positive = max(slip, 1e-100)
            logarithm = log(positive / peak_speed) / width
            coefficient = peak * exp(-(logarithm * logarithm))
            return coefficient, -2 * coefficient * logarithm / (width * positive)

        return bell

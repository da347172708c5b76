"""Friction that falls with slip."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.elementary import exp, power, power_to
from stager.physics.friction.single import number


@dataclass(frozen=True, slots=True)
class Falling:
    """μ(s) = μ_k + (μ_s − μ_k) exp(−(s/s_f)^j): the Stribeck form without viscous term.

    static μ_s, sliding μ_k [-]; fade_speed s_f [m/s]; fade_exponent j [-].
    Source of the form: Armstrong-Hélouvry, Control of Machines with Friction (1991), from memory.
    """

    name: ClassVar[str] = "falling"
    static: Number
    sliding: Number
    fade_speed: Number
    fade_exponent: Number = 1.0

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Coefficient [-] and slope [s/m] at slip speed `slip` ≥ 0 [m/s]; shapes as `slip`."""
        excess = self.static - self.sliding
        if isinstance(self.fade_exponent, float) and self.fade_exponent == 1.0:
            fading = excess * np.exp(slip / -self.fade_speed)
            value = self.sliding + fading
            return value, fading / -self.fade_speed if steep else value
        exponent = np.asarray(self.fade_exponent)
        ratio = np.maximum(slip / self.fade_speed, 1e-12)
        raised = power(ratio, exponent)
        fading = excess * np.exp(-raised)
        value = self.sliding + fading
        return value, -fading * exponent * (raised / ratio) / self.fade_speed if steep else value

    def greatest(self, slip: Floats) -> Floats:
        """Greatest coefficient [-] up to `slip` [m/s]: without slip unless it sticks worse than it slides."""
        return np.maximum(self.static, self.coefficient(slip)[0])

    def alone(self) -> Callable[[float], tuple[float, float]]:
        """As `coefficient`, for one lane in plain numbers."""
        sliding, fade, exponent = number(self.sliding), number(self.fade_speed), number(self.fade_exponent)
        excess, to_the_exponent = number(self.static) - sliding, power_to(exponent)

        def fading(slip: float) -> tuple[float, float]:
            part = excess * exp(-(slip / fade))
            return sliding + part, -part / fade

        def bent(slip: float) -> tuple[float, float]:
            ratio = max(slip / fade, 1e-12)
            raised = to_the_exponent(ratio)
            part = excess * exp(-raised)
            return sliding + part, -part * exponent * (raised / ratio) / fade

        return fading if exponent == 1.0 else bent

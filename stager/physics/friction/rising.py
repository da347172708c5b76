"""Friction that rises with slip and saturates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import inlined
from stager.physics.friction.law import Formula, Law, parameter


@inlined
def rising(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_0 + (μ_∞ − μ_0)(1 − exp(−s/s_r)) [-] and its slope [s/m]."""
    pace = 1.0 / values[2]
    left = (values[1] - values[0]) * np.exp(-slip * pace)
    return values[1] - left, left * pace


@dataclass(frozen=True, slots=True)
class Rising(Law):
    """μ(s) = μ_0 + (μ_∞ − μ_0)(1 − exp(−s/s_r)): soft rubber below its peak."""

    name: ClassVar[str] = "rising"
    source: ClassVar[str] = "ours: a first-order rise to a plateau, for rubber below the peak of Grosch 1963"
    formulas: ClassVar[tuple[Formula, ...]] = (rising,)
    static: Number = parameter("coefficient", "coefficient at little slip")
    sliding: Number = parameter("coefficient", "coefficient at much slip")
    rise_speed: Number = parameter("speed", "slip speed over which it rises")

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s]: there, or at no slip where the law falls."""
        return np.maximum(self.static, self.coefficient(slip)[0])

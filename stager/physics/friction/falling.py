"""Friction that falls with slip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import inlined
from stager.physics.friction.law import Formula, Law, parameter


@inlined
def fading(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_k + (μ_s − μ_k) exp(−s/s_f) [-] and its slope [s/m]."""
    pace = -1.0 / values[2]
    part = (values[0] - values[1]) * np.exp(slip * pace)
    return values[1] + part, part * pace


@inlined
def fading_sharply(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_k + (μ_s − μ_k) exp(−(s/s_f)^j) [-] and its slope [s/m]."""
    ratio = np.maximum(slip / values[2], 1e-12)
    raised = np.exp(values[3] * np.log(ratio))
    part = (values[0] - values[1]) * np.exp(-raised)
    return values[1] + part, -part * values[3] * raised / (ratio * values[2])


@dataclass(frozen=True, slots=True)
class Falling(Law):
    """μ(s) = μ_k + (μ_s − μ_k) exp(−(s/s_f)^j): the Stribeck form without viscous term."""

    name: ClassVar[str] = "falling"
    source: ClassVar[str] = "Armstrong-Hélouvry, Control of Machines with Friction, 1991 (from memory)"
    formulas: ClassVar[tuple[Formula, ...]] = (fading, fading_sharply)
    static: Number = parameter("coefficient", "coefficient at little slip")
    sliding: Number = parameter("coefficient", "coefficient at much slip")
    fade_speed: Number = parameter("speed", "slip speed over which it falls")
    fade_exponent: Number = parameter("shape", "how sharply it falls", default=1.0)

    @property
    def formula(self) -> int:
        """Which of `formulas` evaluates the law."""
        return 0 if isinstance(self.fade_exponent, float) and self.fade_exponent == 1.0 else 1

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s]: at no slip unless it sticks worse than it slides."""
        return np.maximum(self.static, self.coefficient(slip)[0])

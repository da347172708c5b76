"""Rubber friction that rises, peaks and falls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import inlined
from stager.physics.friction.law import Formula, Law, parameter


@inlined
def bell(slip, values):  # type: ignore[no-untyped-def]
    """Return peak · exp(−(ln(s/peak_speed)/width)²) [-] and its slope [s/m]."""
    positive = np.maximum(slip, 1e-100)
    logarithm = np.log(positive / values[1]) / values[2]
    coefficient = values[0] * np.exp(-(logarithm * logarithm))
    return coefficient, -2.0 * coefficient * logarithm / (values[2] * positive)


@dataclass(frozen=True, slots=True)
class Bell(Law):
    """μ(s) = peak · exp(−(ln(s/peak_speed)/width)²), 0 at s = 0; a bell over ln s through one maximum."""

    name: ClassVar[str] = "bell"
    source: ClassVar[str] = "after Grosch, Proc. R. Soc. A 274, 1963; the form is ours"
    formulas: ClassVar[tuple[Formula, ...]] = (bell,)
    peak: Number = parameter("coefficient", "greatest coefficient")
    peak_speed: Number = parameter("speed", "slip speed of the peak")
    width: Number = parameter("shape", "of the peak, in the natural logarithm of slip")

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s]: at the peak or before it."""
        return self.coefficient(np.minimum(slip, self.peak_speed))[0]

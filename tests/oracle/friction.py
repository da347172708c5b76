"""Reference friction laws: scalar functions written from their formulas."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log
from typing import Any

from scipy.interpolate import PchipInterpolator

from stager.physics.friction import Bell, Constant, Falling, Rising, Tabulated

Coefficient = Callable[[float], float]


def coefficient(law: Any) -> Coefficient:
    """Return μ as a function of |slip| [m/s]."""
    if isinstance(law, Constant):
        return lambda slip: float(law.friction)
    if isinstance(law, Falling):
        return lambda slip: (
            law.sliding + (law.static - law.sliding) * exp(-((slip / law.fade_speed) ** law.fade_exponent))
        )
    if isinstance(law, Bell):
        return lambda slip: law.peak * exp(-((log(slip / law.peak_speed) / law.width) ** 2)) if slip > 0 else 0.0
    if isinstance(law, Rising):
        return lambda slip: law.static + (law.sliding - law.static) * (1.0 - exp(-slip / law.rise_speed))
    if isinstance(law, Tabulated):
        curve = PchipInterpolator(law.slip, law.friction)
        return lambda slip: float(curve(min(max(slip, law.slip[0]), law.slip[-1])))
    raise TypeError(f"no reference for this law: {law}")

"""Elementary functions that give the same digits for one number as for an array.

The C library's functions may differ from NumPy's in the last digit, and NumPy's power differs with the shape of the
exponent; a lane must go the same way alone as among others.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import numpy as np

from stager.model.arrays import Floats

FLAT = 22.0


def exp(value: float) -> float:
    """e to the `value`."""
    return float(np.exp(value))


def log(value: float) -> float:
    """Natural logarithm."""
    return float(np.log(value))


def tanh(value: float) -> float:
    """Hyperbolic tangent; 1 to the last digit beyond FLAT."""
    if value > FLAT:
        return 1.0
    return float(np.tanh(value)) if value > -FLAT else -1.0


def power(base: Floats, exponent: Floats) -> Floats:
    """base**exponent, shapes broadcast; quick and exact for the usual exponents."""
    if exponent.size == 1:
        quick = _QUICK.get(float(exponent.flat[0]))
        return base**exponent if quick is None else quick(base)
    out = base**exponent
    for value, quick in _QUICK.items():
        chosen = exponent == value
        if chosen.any():
            out = np.where(chosen, quick(base), out)
    return out


def power_to(exponent: float) -> Callable[[float], float]:
    """As `power`, of single numbers to one exponent."""
    quick = _QUICK_ALONE.get(exponent)
    return (lambda base: float(np.power(base, exponent))) if quick is None else quick


_QUICK: dict[float, Callable[[Floats], Floats]] = {
    0.0: np.ones_like,
    0.5: np.sqrt,
    1.0: lambda base: base,
    1.5: lambda base: base * np.sqrt(base),
    2.0: np.square,
}
_QUICK_ALONE: dict[float, Callable[[float], float]] = {
    0.0: lambda _: 1.0,
    0.5: sqrt,
    1.0: lambda base: base,
    1.5: lambda base: base * sqrt(base),
    2.0: lambda base: base * base,
}

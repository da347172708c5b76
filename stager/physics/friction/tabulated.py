"""Friction through measured points."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Self

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import compiled
from stager.physics.friction.law import Formula, Law


@compiled
def curve(slip, values):  # type: ignore[no-untyped-def]
    """Return the cubic Hermite curve through points [-] and its slope [s/m] at one slip, the ends held.

    values: number of points n, then n slips, n coefficients and n slopes, maybe more.
    """
    count = int(values[0])
    if slip <= values[1]:
        return values[1 + count], 0.0
    if slip >= values[count]:
        return values[2 * count], 0.0
    before, after = 1, count
    while after - before > 1:
        middle = (before + after) // 2
        if values[middle] <= slip:
            before = middle
        else:
            after = middle
    span = values[after] - values[before]
    share = (slip - values[before]) / span
    first, last = values[count + before], values[count + after]
    rise, end = span * values[2 * count + before], span * values[2 * count + after]
    bend, turn = 3.0 * (last - first) - 2.0 * rise - end, 2.0 * (first - last) + rise + end
    value = first + share * (rise + share * (bend + share * turn))
    return value, (rise + share * (2.0 * bend + share * 3.0 * turn)) / span


def packed(slip: Floats, friction: Floats, slope: Floats) -> Floats:
    """Return points, slips in [m/s], as `curve` takes them, shape (1 + 3n,)."""
    return np.concatenate([[float(len(slip))], slip, friction, slope])


@dataclass(frozen=True, slots=True)
class Tabulated(Law):
    """Shape-preserving cubic (PCHIP) through measured points; the ends are held.

    slip: increasing slip speeds [m/s], shape (points,); friction: coefficients there [-], shape (points,).
    """

    name: ClassVar[str] = "tabulated"
    source: ClassVar[str] = "Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980 (the interpolation)"
    formulas: ClassVar[tuple[Formula, ...]] = (curve,)
    slip: tuple[float, ...]
    friction: tuple[float, ...]
    _factor: Number = field(default=1.0, repr=False)
    _curve: Any = field(init=False, repr=False, compare=False)
    _slope: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from scipy.interpolate import PchipInterpolator

        curve = PchipInterpolator(self.slip, self.friction, extrapolate=False)
        object.__setattr__(self, "_curve", curve)
        object.__setattr__(self, "_slope", curve.derivative())

    def values(self) -> tuple[Number, ...]:
        """Return the points as the formula takes them."""
        slip = np.asarray(self.slip, dtype=np.float64)
        plain = packed(slip, np.asarray(self.friction, dtype=np.float64), self._slope(slip))
        head = 1 + len(self.slip)
        return (*plain[:head], *(value * self._factor for value in plain[head:]))

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor`, see `Law.scaled`."""
        return replace(self, _factor=self._factor * factor)

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient [-] and its slope [s/m]; see `Law.coefficient`."""
        low, high = self.slip[0], self.slip[-1]
        held = np.clip(slip, low, high)
        value: Floats = self._curve(held) * self._factor
        return value, np.where((slip > low) & (slip < high), self._slope(held), 0.0) * self._factor if steep else value

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s]: each piece of the curve only rises or only falls."""
        passed = np.concatenate([self.friction[:1], np.maximum.accumulate(self.friction)])
        at = np.searchsorted(self.slip, slip, side="right")
        return np.asarray(np.maximum(passed[at] * self._factor, self.coefficient(slip)[0]))

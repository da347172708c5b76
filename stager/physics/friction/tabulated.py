"""Friction through measured points."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import ClassVar, Self

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import compiled
from stager.physics.friction.law import Formula, Law


@compiled
def curve(slip, values):  # type: ignore[no-untyped-def]
    """Return the cubic Hermite curve through points and its slope, the ends held.

    values: number of points n, then n slips, n coefficients and n slopes, maybe more.
    """
    count = int(values[0])
    knots = values[1 : 1 + count]
    held = np.minimum(np.maximum(slip, knots[0]), knots[count - 1])
    before = np.minimum(np.maximum(np.searchsorted(knots, held, side="right") - 1, 0), count - 2)
    low, span = values[1 + before], values[2 + before] - values[1 + before]
    first, last = values[1 + count + before], values[2 + count + before]
    rise, end = span * values[1 + 2 * count + before], span * values[2 + 2 * count + before]
    share = (held - low) / span
    bend, turn = 3.0 * (last - first) - 2.0 * rise - end, 2.0 * (first - last) + rise + end
    value = first + share * (rise + share * (bend + share * turn))
    inside = 1.0 * ((slip > knots[0]) & (slip < knots[count - 1]))
    return value, inside * (rise + share * (2.0 * bend + share * 3.0 * turn)) / span


def packed(slip: Floats, friction: Floats, slope: Floats) -> Floats:
    """Return points as `curve` takes them, shape (1 + 3n,)."""
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
    _curve: Floats = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from scipy.interpolate import PchipInterpolator

        slope = PchipInterpolator(self.slip, self.friction).derivative()(np.asarray(self.slip, dtype=np.float64))
        points = packed(np.asarray(self.slip, dtype=np.float64), np.asarray(self.friction, dtype=np.float64), slope)
        object.__setattr__(self, "_curve", points)

    def values(self) -> tuple[Number, ...]:
        """Return the points as `curve` takes them."""
        plain = 1 + len(self.slip)
        return (*self._curve[:plain], *(value * self._factor for value in self._curve[plain:]))

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor`, see `Law.scaled`."""
        return replace(self, _factor=self._factor * factor)

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient and its slope; see `Law.coefficient`."""
        value, slope = PLAIN_CURVE(slip, self._curve)
        return value * self._factor, slope * self._factor

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s]: each piece of the curve only rises or only falls."""
        passed = np.concatenate([self.friction[:1], np.maximum.accumulate(self.friction)])
        at = np.searchsorted(self.slip, slip, side="right")
        return np.asarray(np.maximum(passed[at] * self._factor, self.coefficient(slip)[0]))


PLAIN_CURVE = getattr(curve, "py_func", curve)

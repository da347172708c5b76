"""Extremes of friction over intervals of slip.

φ(s) = μ(|s|)·tanh(s/ε) is odd. Its peaks and troughs at s > 0 are found once per law; over an interval the extremes
are then at its ends, or at a peak or trough inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from stager.bounds.normal_force import Pressed
from stager.model.arrays import Floats, Number
from stager.model.launcher import FrictionLaw

WIDEST_SLIP = 2000.0
ROUNDING = 1e-9
LOST_BETWEEN = 1e-5
"""By how much φ s may dip between two of the slips that it is looked up at [-]."""


class Traction:
    """φ of one side with creep speed ε [m/s], and its extremes over intervals.

    peak: its greatest value [-], at the slip `crest` [m/s].
    """

    def __init__(self, law: FrictionLaw, creep: float) -> None:
        self.law, self.creep = law, creep
        peaks, troughs = self._turns()
        self.crest = max([*peaks, WIDEST_SLIP], key=self._at)
        self.peak = self._at(self.crest)
        self._single = peaks[0] if len(peaks) == 1 and not troughs else None
        self._maxima = sorted([*peaks, *(-place for place in troughs)])
        if not self._maxima:
            self._single = WIDEST_SLIP
        first = min([*peaks, WIDEST_SLIP])
        slips = np.concatenate([[0.0], np.geomspace(1e-4 * creep, first, 4000)])
        # Held so that values between two of them are taken at the greater slip.
        self._rising = slips, np.maximum.accumulate(self.value(slips)) * (1.0 - ROUNDING)
        self._loss = self._losses()

    def value(self, slip: Floats) -> Floats:
        """φ [-] at `slip` [m/s], of either sign; shape as `slip`."""
        return np.asarray(self.law.coefficient(np.abs(slip), with_slope=False)[0] * np.tanh(slip / self.creep))

    def both(self, slip: Floats) -> tuple[Floats, Floats]:
        """φ [-] and dφ/ds [s/m] at `slip` [m/s]; shapes as `slip`."""
        coefficient, slope = self.law.coefficient(np.abs(slip))
        creeping = np.tanh(slip / self.creep)
        steepness = slope * np.abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep
        return coefficient * creeping, steepness

    def greatest(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Greatest φ [-] for slip from `low` to `high` [m/s], and dφ/ds where it is taken (0 at a peak within)."""
        if self._single is None:
            return self._greatest_of_many(low, high)
        value, slope = self.both(np.minimum(np.maximum(self._single, low), high))
        # Left of −peak φ falls again towards −peak: there the other end may be the greater.
        far = (low < -self._single) & (high < self._single)
        if far.any():
            value = np.where(far, np.maximum(value, self.value(low)), value)
        return value, slope

    def least(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Return the least φ [-] for slip from `low` to `high` [m/s], and dφ/ds there."""
        value, slope = self.greatest(-high, -low)
        return -value, slope

    def least_lost(self, slip: Floats) -> Floats:
        """Return the least φ s [m/s] at slips of `slip` ≥ 0 [m/s] or more."""
        if self._loss is None:
            return self.value(slip) * slip
        slips, least = self._loss
        return np.asarray(least[np.searchsorted(slips, slip, side="right") - 1])

    def slip_of(self, needed: Floats) -> Floats:
        """The least slip [m/s] with φ = `needed` [-], odd; infinite where no slip below the first peak gives it."""
        found = np.interp(np.abs(needed), self._rising[1], self._rising[0], right=np.inf)
        return np.asarray(np.sign(needed) * found)

    def _losses(self) -> tuple[Floats, Floats] | None:
        """Return the slips [m/s] and the least φ s from there on; None where it always rises."""
        slips = np.concatenate([[0.0], np.geomspace(1e-4 * self.creep, WIDEST_SLIP, 40_000)])
        lost = self.value(slips) * slips
        if (np.diff(lost) >= 0.0).all():
            return None
        return slips, np.minimum.accumulate(lost[::-1])[::-1] * (1.0 - LOST_BETWEEN)

    def _greatest_of_many(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        below, slope_below = self.both(low)
        above, slope_above = self.both(high)
        value, slope = np.maximum(below, above), np.where(above >= below, slope_above, slope_below)
        for place in self._maxima:
            top = self._at(place)
            inside = (low < place) & (place < high) & (top > value)
            value, slope = np.where(inside, top, value), np.where(inside, 0.0, slope)
        return value, slope

    def _at(self, slip: float) -> float:
        return float(self.value(np.array([slip]))[0])

    def _turns(self) -> tuple[list[float], list[float]]:
        """Return the peaks and troughs at s > 0 [m/s]."""
        knots = np.asarray(getattr(self.law, "slip", ()), dtype=np.float64)
        grid = np.concatenate([np.geomspace(1e-3 * self.creep, WIDEST_SLIP, 6000), knots[knots > 0]])
        grid = np.unique(grid)
        value = self.value(grid)
        rise = np.diff(value)
        rise[np.abs(rise) < 1e-13 * np.abs(value).max()] = 0.0
        signs, at = np.sign(rise), np.arange(rise.size)
        moving = at[signs != 0]
        found: dict[bool, list[float]] = {True: [], False: []}
        for first, second in pairwise(moving):
            if signs[first] != signs[second]:
                up = bool(signs[first] > 0)
                found[up].append(self._polish(grid[first], grid[second + 1], -1.0 if up else 1.0))
        return found[True], found[False]

    def _polish(self, low: float, high: float, sign: float) -> float:
        from scipy.optimize import minimize_scalar

        done = minimize_scalar(
            lambda slip: sign * self._at(slip), bounds=(low, high), method="bounded",
            options={"xatol": ROUNDING * high},
        )  # fmt: skip
        return float(done.x)


SLOWEST, SLOW = 1e-3, 0.05
"""Speeds that loosen a bound are divided by no less than the first, speeds that tighten it by no less than the second
[m/s]: a bound that tightens too slowly still holds."""
STOPPED = 1e-2
"""A cell jams whose upper bound of v² falls so far below 0, as a share of the square of the fastest so far."""


def normals(pressed: Pressed, grip: Floats, count: float, sign: float) -> Floats:
    """N·grip + count·(N t + l) [N] at its greatest or least."""
    return chosen_normals(pressed, grip, sign, count)[0]


def chosen_normals(pressed: Pressed, grip: Floats, signs: Number, count: float = 1.0) -> tuple[Floats, Floats]:
    """Return the same for many rows at once, signs (rows, 1), and the normal force [N] that each takes."""
    share = grip + count * _by_sign(signs, pressed.tilt_high, pressed.tilt_low)
    normal = np.where(signs * share > 0.0, pressed.high, pressed.low)
    return normal * share + count * _by_sign(signs, pressed.loss_high, pressed.loss_low), normal


def _by_sign(signs: Number, high: Floats, low: Floats) -> Floats:
    return high if high is low else np.where(np.asarray(signs) > 0.0, high, low)


def grip_extreme(traction: Traction, slips: Sequence[Floats], sign: float) -> tuple[Floats, Floats]:
    """φ and dφ/ds at its greatest or least for slips between slips[1] and slips[0] [m/s]."""
    return traction.greatest(slips[1], slips[0]) if sign > 0 else traction.least(slips[1], slips[0])


def per_speed(gain: Floats, sign: float, slow: Floats, fast: Floats) -> Floats:
    """gain/v at its greatest or least for v between `slow` and `fast` [m/s]."""
    return gain / np.where(sign * gain > 0.0, np.maximum(slow, SLOWEST), np.maximum(fast, SLOW))


def product(factor: Floats, ends: Floats) -> tuple[Floats, Floats]:
    """Return the greatest and least factor·x for x between ends[1] and ends[0]."""
    one, two = factor * ends[0], factor * ends[1]
    return np.maximum(one, two), np.minimum(one, two)

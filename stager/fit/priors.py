"""What is known of a parameter before the data, as a map from a standard normal variable z.

Fits and draws work in y, which is z but for quantities that are positive: there it goes with their logarithm, because
what throws tell best, stiffness × friction / mass, is a straight ridge in logarithms and a bent one in z.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.model.scenario import Uncertain

FAR = 8.0
INSIDE = 1e-9
STEEPEST = 0.2
"""y reaches down to z = −1/rate: five standard deviations."""


class Prior(Protocol):
    """One parameter."""

    @property
    def key(self) -> str:
        """Its dotted place in the configuration."""
        ...

    @property
    def rate(self) -> float:
        """How fast the logarithm of the quantity goes with y; 0: y is z."""
        ...

    def value(self, z: Floats) -> Floats:
        """SI values for z, shapes alike."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal, cut to [low, high]; all in SI."""

    key: str
    centre: float
    spread: float
    low: float = -np.inf
    high: float = np.inf

    @property
    def rate(self) -> float:
        """Relative standard deviation of a positive quantity, at most STEEPEST: all of z must be reached."""
        return min(self.spread / self.centre, STEEPEST) if self.low >= 0 and self.centre > 0 else 0.0

    def value(self, z: Floats) -> Floats:
        """By the quantiles of the cut normal distribution, in SI."""
        from scipy.special import ndtr, ndtri

        ends = np.array([self.low - self.centre, self.high - self.centre]) / self.spread
        z = np.clip(z, -FAR, FAR)
        if ends[0] > -FAR or ends[1] < FAR:
            below, above = ndtr(ends)
            # The upper tail by symmetry: near 1 a share has too few digits.
            lower = ndtri(below + (above - below) * ndtr(z))
            upper = -ndtri(ndtr(-ends[1]) + (above - below) * ndtr(-z))
            z = np.where(z < 0, lower, upper)
        return np.asarray(np.clip(self.centre + self.spread * z, *_inside(self.low, self.high)))


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Uniform between low and high; all in SI."""

    key: str
    low: float
    high: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """By the quantiles of the uniform distribution, in SI."""
        from scipy.special import ndtr

        return np.asarray(self.low + (self.high - self.low) * ndtr(np.clip(z, -FAR, FAR)))


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Known up to a factor: median [SI] and standard deviation of its logarithm [-]."""

    key: str
    median: float
    spread: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """median · exp(spread · z), in SI."""
        return np.asarray(self.median * np.exp(self.spread * np.clip(z, -FAR, FAR)))


def of(uncertain: Uncertain) -> Prior:
    """The prior that a configuration's uncertainty stands for."""
    if uncertain.rectangular:
        half = np.sqrt(3) * uncertain.standard_uncertainty
        low, high = max(uncertain.low, uncertain.value - half), min(uncertain.high, uncertain.value + half)
        return Rectangular(uncertain.key, low, high)
    return Normal(uncertain.key, uncertain.value, uncertain.standard_uncertainty, uncertain.low, uncertain.high)


@dataclass(frozen=True, slots=True)
class Bend:
    """From y to z: 1 + rate·z = exp(rate·y). rates of the parameters, (p,)."""

    rates: Floats

    def __call__(self, y: Floats) -> tuple[Floats, Floats]:
        """z and dz/dy for y (..., p), shapes alike."""
        # An interval may be open: its end is then infinite.
        turned = np.exp(np.clip(self.rates * np.clip(y, -1e6, 1e6), -50.0, 50.0))
        bent = self.rates > 0
        return np.where(bent, (turned - 1) / np.where(bent, self.rates, 1.0), y), turned


def bend(priors: tuple[Prior, ...]) -> Bend:
    """From y to z for `priors`."""
    return Bend(np.array([prior.rate for prior in priors]))


def values(priors: tuple[Prior, ...], z: Floats) -> dict[str, Floats]:
    """SI values by key for z (..., p), each of shape (...)."""
    return {prior.key: prior.value(z[..., k]) for k, prior in enumerate(priors)}


def _inside(low: float, high: float) -> tuple[float, float]:
    """Ends that are themselves outside a range such as "above 0" are kept away from."""
    return (
        low + INSIDE * max(abs(low), 1e-6) if np.isfinite(low) else low,
        high - INSIDE * max(abs(high), 1e-6) if np.isfinite(high) else high,
    )

"""Define priors of parameters as maps from a standard normal variable z.

Fits and draws work in y. For a positive quantity with a normal prior, y is linear in the quantity's logarithm; for all
others y is z. The reason: throws determine stiffness × friction / mass best. Their likelihood has a ridge along equal
values of it, which is straight in logarithms and curved in z.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Uncertain

GREATEST_Z = 8.0
"""Greatest |z| [-]: beyond it, normal probabilities are rounding errors."""
OPEN_END = 1e-9
"""Relative distance kept from the ends of a range [-], which may not belong to it."""
GREATEST_RATE = 0.2
"""Greatest rate of y [-]: y reaches down to z = −1/rate, five standard deviations."""


class Prior(Protocol):
    """Prior of one parameter."""

    @property
    def key(self) -> str:
        """Dotted place of the parameter in the configuration."""
        ...

    @property
    def rate(self) -> float:
        """Slope of the logarithm of the quantity by y [-]; 0: y is z."""
        ...

    def value(self, z: Floats) -> Floats:
        """Return SI values at z, of equal shape."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal distribution, truncated to [low, high]; all in SI."""

    key: str
    centre: float
    spread: float
    low: float = -np.inf
    high: float = np.inf

    @property
    def rate(self) -> float:
        """Relative standard deviation of a positive quantity [-], at most GREATEST_RATE; else 0."""
        return min(self.spread / self.centre, GREATEST_RATE) if self.low >= 0 and self.centre > 0 else 0.0

    def value(self, z: Floats) -> Floats:
        """Return quantiles of the truncated normal distribution at Φ(z), in SI."""
        from scipy.special import ndtr, ndtri

        ends = np.array([self.low - self.centre, self.high - self.centre]) / self.spread
        z = np.clip(z, -GREATEST_Z, GREATEST_Z)
        if ends[0] > -GREATEST_Z or ends[1] < GREATEST_Z:
            below, above = ndtr(ends)
            # The upper tail by symmetry, because a probability near 1 has too few digits.
            lower = ndtri(below + (above - below) * ndtr(z))
            upper = -ndtri(ndtr(-ends[1]) + (above - below) * ndtr(-z))
            z = np.where(z < 0, lower, upper)
        return np.asarray(np.clip(self.centre + self.spread * z, *_inside(self.low, self.high)))


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Uniform distribution between low and high; all in SI."""

    key: str
    low: float
    high: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """Return quantiles of the uniform distribution at Φ(z), in SI."""
        from scipy.special import ndtr

        return np.asarray(self.low + (self.high - self.low) * ndtr(np.clip(z, -GREATEST_Z, GREATEST_Z)))


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Lognormal distribution, of a quantity known up to a factor.

    median: in SI; spread: standard deviation of the logarithm [-].
    """

    key: str
    median: float
    spread: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """Return median · exp(spread · z), in SI."""
        return np.asarray(self.median * np.exp(self.spread * np.clip(z, -GREATEST_Z, GREATEST_Z)))


def of(uncertain: Uncertain) -> Prior:
    """Return the prior that a configuration's uncertainty stands for."""
    if uncertain.rectangular:
        half = np.sqrt(3) * uncertain.standard_uncertainty
        low, high = max(uncertain.low, uncertain.value - half), min(uncertain.high, uncertain.value + half)
        return Rectangular(uncertain.key, low, high)
    return Normal(uncertain.key, uncertain.value, uncertain.standard_uncertainty, uncertain.low, uncertain.high)


@dataclass(frozen=True, slots=True)
class Bend:
    """Map from y to z, 1 + rate·z = exp(rate·y), with the rates of the parameters, (p,)."""

    rates: Floats

    def __call__(self, y: Floats) -> tuple[Floats, Floats]:
        """Return z and dz/dy at y (..., p), both of that shape."""
        # The end of an interval may be infinite.
        turned = np.exp(np.clip(self.rates * np.clip(y, -1e6, 1e6), -50.0, 50.0))
        bent = self.rates > 0
        return np.where(bent, (turned - 1) / np.where(bent, self.rates, 1.0), y), turned


def bend(priors: tuple[Prior, ...]) -> Bend:
    """Return the map from y to z for `priors`."""
    return Bend(np.array([prior.rate for prior in priors]))


def values(priors: tuple[Prior, ...], z: Floats) -> dict[str, Floats]:
    """Return SI values by key at z (..., p), each of shape (...)."""
    return {prior.key: prior.value(z[..., k]) for k, prior in enumerate(priors)}


def _inside(low: float, high: float) -> tuple[float, float]:
    """Return ends a little inside [low, high], because a range such as "above 0" does not contain its end."""
    return (
        low + OPEN_END * max(abs(low), 1e-6) if np.isfinite(low) else low,
        high - OPEN_END * max(abs(high), 1e-6) if np.isfinite(high) else high,
    )

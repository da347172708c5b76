"""Scatter with outliers, of unknown size.

A residual is normal with standard deviation σ, or, with probability w, wild: Student's t with two degrees of freedom,
WILD times as wide. σ and w are not known: the loss is −ln of the likelihood averaged over both, so whatever is
fitted or drawn with it carries their uncertainty too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats

WILD = 5.0
SHARES = np.array([0.003, 0.03, 0.1, 0.25])
SHARE_WEIGHTS = np.array([0.45, 0.3, 0.2, 0.05])
POINTS = 17
CHUNK = 400_000


@dataclass(frozen=True, slots=True)
class Noise:
    """typical: scatter that is expected before any data, in the residuals' unit; factor: within which it is known
    (one standard deviation of its logarithm); least: below this the instrument cannot tell."""

    typical: float = 0.015
    factor: float = 1.0
    least: float = 2e-4

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """−ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n) with slope = weights × residuals."""
        lanes, count = residuals.shape
        size = max(1, CHUNK // (count * POINTS))
        parts = [self._loss(residuals[k : k + size]) for k in range(0, lanes, size)]
        if not parts:
            return np.zeros(0), np.zeros((0, count))
        return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])

    def _loss(self, residuals: Floats) -> tuple[Floats, Floats]:
        posterior, total, normal, wild, sigma = self._grid(residuals)
        squares = (residuals**2)[:, None, None, :]
        inside = 1 / sigma[..., None] ** 2
        outside = 3.0 / (2.0 * (WILD * sigma[..., None]) ** 2 + squares)
        pull = (normal * inside + wild * outside) / (normal + wild)
        weights = (posterior[..., None] * pull).sum(axis=(1, 2))
        return -total, weights

    def _grid(self, residuals: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Posterior of σ and w on a grid (lanes, σ, w), ln evidence (lanes,), densities (lanes, σ, w, n), σ."""
        count = residuals.shape[1]
        centre = np.maximum(1.4826 * np.median(np.abs(residuals), axis=1), self.least)
        reach = min(2.2, max(1.0, 6.5 / np.sqrt(2 * count)))
        steps = np.linspace(-reach, reach, POINTS)
        sigma = (centre[:, None] * np.exp(steps))[:, :, None]
        ratio = residuals[:, None, None, :] / sigma[..., None]
        normal = np.exp(-0.5 * ratio**2) * (0.3989422804014327 / sigma[..., None]) * (1 - SHARES[:, None])
        wild = (1 + (ratio / WILD) ** 2 / 2) ** -1.5 * (0.35355339059327373 / (WILD * sigma[..., None]))
        wild = wild * SHARES[:, None]
        known = -0.5 * (np.log(sigma / self.typical) / self.factor) ** 2 - np.log(self.factor)
        height = np.log(normal + wild).sum(axis=-1) + known + np.log(SHARE_WEIGHTS)
        top = height.max(axis=(1, 2), keepdims=True)
        mass = np.exp(height - top)
        total = mass.sum(axis=(1, 2), keepdims=True)
        evidence = (np.log(total) + top)[:, 0, 0] + np.log(steps[1] - steps[0]) - 0.9189385332046727
        return mass / total, evidence, normal, wild, sigma

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Standard deviation of one throw from residuals (n,) of a fit that has spent so many parameters."""
        posterior, _, _, _, sigma = self._grid(residuals[None])
        mean = float(np.exp((posterior * np.log(sigma)).sum()))
        count = residuals.size
        return mean * float(np.sqrt(count / max(count - spent, 1.0)))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Probability that each of residuals (n,) is an outlier."""
        posterior, _, normal, wild, _ = self._grid(residuals[None])
        return np.asarray((posterior[..., None] * wild / (normal + wild)).sum(axis=(1, 2))[0])

    def sample(self, scatter: Floats, rng: np.random.Generator) -> Floats:
        """Residuals without outliers, one for each of `scatter`, shapes equal."""
        return scatter * rng.normal(size=np.shape(scatter))

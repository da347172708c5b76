"""Scatter with outliers, of unknown size.

A residual is normal with standard deviation σ, or, with probability w, wild: Student's t with two degrees of freedom,
WILD times as wide. σ and w are not known: the loss is −ln of the likelihood averaged over both, so whatever is
fitted or drawn with it carries their uncertainty too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

WILD = 5.0
SHARES = np.array([0.003, 0.03, 0.1, 0.25])
SHARE_WEIGHTS = np.array([0.45, 0.3, 0.2, 0.05])
CHUNK = 400_000

LARGEST = 50.0
"""No scatter is larger: residuals are differences of logarithms of speeds."""

BELOW = 3.0
"""How far below the instrument's resolution, in ln σ, scatter is looked for."""

COARSE = 0.4
"""Step of ln σ at which the hills of its posterior are looked for."""

FINE = 1.1
"""Step of ln σ for the integral, in standard deviations of a hill, 1/√(2n) each."""

NEGLIGIBLE = 9.0
"""ln of the density, below the top, from which σ is left out."""


@dataclass(frozen=True, slots=True)
class Noise:
    """typical: scatter that is expected before any data, in the residuals' unit; factor: within which it is known
    (one standard deviation of its logarithm); least: resolution of the instrument, added in squares."""

    typical: float = 0.015
    factor: float = 1.0
    least: float = 2e-4

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n): slope by residuals."""
        lanes, count = residuals.shape
        loss, weights = np.empty(lanes), np.empty((lanes, count))
        for rows, steps in self._grids(residuals):
            size = max(1, CHUNK // (count * steps.shape[1]))
            for k in range(0, rows.size, size):
                part = rows[k : k + size]
                loss[part], weights[part] = self._loss(residuals[part], steps[k : k + size])
        return loss, weights

    def _grids(self, residuals: Floats) -> list[tuple[NDArray[np.intp], Floats]]:
        """Return lanes and their values of ln σ (lanes, points), lanes with about as many points together.

        Each lane's points cover all of σ where its posterior has any weight: it can have two hills, with half of the
        residuals near 0.
        """
        count = residuals.shape[1]
        coarse = np.arange(np.log(self.least) - BELOW, np.log(LARGEST), COARSE)
        height = np.empty((residuals.shape[0], coarse.size))
        size = max(1, CHUNK // (count * coarse.size))
        for k in range(0, len(height), size):
            part = residuals[k : k + size]
            steps = np.broadcast_to(coarse, (len(part), coarse.size))
            height[k : k + size] = self._height(part, steps, slice(1, None, 2))[0].max(axis=2)
        # A hill may lie between two coarse points: its flank there is n·(COARSE/2)² lower.
        seen = height >= height.max(axis=1, keepdims=True) - NEGLIGIBLE - count * COARSE**2 / 2
        first = np.maximum(seen.argmax(axis=1) - 1, 0)
        last = np.minimum(coarse.size - seen[:, ::-1].argmax(axis=1), coarse.size - 1)
        step = FINE / np.sqrt(2 * count)
        wanted = np.ceil((coarse[last] - coarse[first]) / step).astype(int) + 1
        points = 4 * np.ceil(wanted / 4).astype(int)
        out = []
        for number in np.unique(points):
            rows = np.flatnonzero(points == number)
            out.append((rows, np.linspace(coarse[first[rows]], coarse[last[rows]], int(number), axis=1)))
        return out

    def _loss(self, residuals: Floats, steps: Floats) -> tuple[Floats, Floats]:
        posterior, total, normal, wild, sigma = self._grid(residuals, steps)
        squares = (residuals**2)[:, None, None, :]
        inside = 1 / sigma[..., None] ** 2
        outside = 3.0 / (2.0 * (WILD * sigma[..., None]) ** 2 + squares)
        pull = (normal * inside + wild * outside) / (normal + wild)
        weights = (posterior[..., None] * pull).sum(axis=(1, 2))
        return -total, weights

    def _height(
        self, residuals: Floats, steps: Floats, shares: slice = slice(None)
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Return ln density of σ and w (lanes, σ, w), densities (lanes, σ, w, n) of normal and wild residuals, σ.

        shares: which of SHARES.
        """
        wild_shares = SHARES[shares, None]
        spread = np.exp(steps)[:, :, None]
        sigma = np.hypot(spread, self.least)
        ratio = residuals[:, None, None, :] / sigma[..., None]
        normal = np.exp(-0.5 * np.minimum(ratio**2, 1400.0)) * (0.3989422804014327 / sigma[..., None])
        normal = normal * (1 - wild_shares)
        wild = (1 + (ratio / WILD) ** 2 / 2) ** -1.5 * (0.35355339059327373 / (WILD * sigma[..., None]))
        wild = wild * wild_shares
        known = -0.5 * (np.log(spread / self.typical) / self.factor) ** 2 - np.log(self.factor)
        return np.log(normal + wild).sum(axis=-1) + known + np.log(SHARE_WEIGHTS[shares]), normal, wild, sigma

    def _grid(self, residuals: Floats, steps: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return the posterior of σ and w on a grid (lanes, σ, w), ln evidence (lanes,), densities as `_height`, σ."""
        height, normal, wild, sigma = self._height(residuals, steps)
        top = height.max(axis=(1, 2), keepdims=True)
        mass = np.exp(height - top)
        total = mass.sum(axis=(1, 2), keepdims=True)
        evidence = (np.log(total) + top)[:, 0, 0] + np.log(steps[:, 1] - steps[:, 0]) - 0.9189385332046727
        return mass / total, evidence, normal, wild, sigma

    def _alone(self, residuals: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return `_grid` of residuals (n,)."""
        return self._grid(residuals[None], self._grids(residuals[None])[0][1])

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Standard deviation of one throw from residuals (n,) of a fit that has spent so many parameters."""
        posterior, _, _, _, sigma = self._alone(residuals)
        mean = float(np.exp((posterior * np.log(sigma)).sum()))
        count = residuals.size
        return mean * float(np.sqrt(count / max(count - spent, 1.0)))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Probability that each of residuals (n,) is an outlier."""
        posterior, _, normal, wild, _ = self._alone(residuals)
        return np.asarray((posterior[..., None] * wild / (normal + wild)).sum(axis=(1, 2))[0])

    def sample(self, scatter: Floats, rng: np.random.Generator) -> Floats:
        """Residuals without outliers, one for each of `scatter`, shapes equal."""
        return scatter * rng.normal(size=np.shape(scatter))

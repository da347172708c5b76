"""Whether a column (another build, the order of throws) moves exit speed beyond what the settings do."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.fit.optimiser import BestFit
from stager.fit.statistics.noise import Noise
from stager.fit.statistics.trend import slope
from stager.fit.statistics.welch import Difference
from stager.model.arrays import Floats

NEGLIGIBLE = 0.5
"""A direction of the parameters that moves all throws together by less than this share of a scatter is left out."""

SURELY = 0.95
LEAST_SHARED = 6
"""Throws that share their setting, below which nothing is called an outlier by its neighbours alone."""


def setting_columns(settings: NDArray[np.intp]) -> Floats:
    """One column of ones a setting, (n, settings): whatever the model says, each setting has its own mean."""
    return np.equal.outer(settings, np.unique(settings)).astype(np.float64)


def model_columns(found: BestFit) -> Floats:
    """Directions in which the fit could still move ln exit speed, and in which the model may be wrong: all throws
    alike, and a bend along each stage's wheel speed; (n, k)."""
    return np.column_stack([tangent_columns(found), np.ones(found.count), *_powers(found, 2)])


def tangent_columns(found: BestFit) -> Floats:
    """Directions in which the fit has moved ln exit speed, (n, k)."""
    u, s, _ = np.linalg.svd(found.jacobian, full_matrices=False)
    return np.asarray(u[:, s > NEGLIGIBLE * found.scatter])


def bend_columns(found: BestFit) -> Floats:
    """Directions in which a wrong model would leave residuals: powers of each column of wheel speeds, (n, k)."""
    columns = _powers(found, 3)
    return np.column_stack(columns) if columns else np.zeros((found.count, 0))


def _powers(found: BestFit, most: int) -> list[Floats]:
    """v, v², … of each column of wheel speeds, v scaled to 0–1 (cells that are empty: 0.5); (n,) each."""
    columns: list[Floats] = []
    where = found.model.settings
    for wheels in where.wheels:
        values = wheels.values[found.model.row][: found.count]
        known = ~np.isnan(values)
        if known.any() and np.ptp(values[known]) > 0:
            scaled = np.where(known, (values - values[known].min()) / np.ptp(values[known]), 0.5)
            columns += [scaled**power for power in range(1, most + 1)]
    return columns


def tame(found: BestFit) -> Floats:
    """Residuals with outliers drawn in to where they weigh no more than their probability allows, (n,)."""
    return found.residuals * (1 - found.outlier_probability)


def steady(logs: Floats, group: NDArray[np.intp], noise: Noise) -> NDArray[np.bool_]:
    """Which of ln exit speeds (n,) are no sure outliers among those of their group (n,); of a pair none or both."""
    _, which, counts = np.unique(group, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=logs) / counts
    shared = counts[which] > 1
    out = np.ones(logs.size, dtype=bool)
    if shared.sum() >= LEAST_SHARED:
        size = counts[which][shared]
        scaled = (logs - means[which])[shared] * np.sqrt(size / (size - 1))
        out[shared] = noise.outlier_probability(scaled) < SURELY
    return out


def by_settings(logs: Floats, column: Floats, settings: NDArray[np.intp]) -> tuple[Difference, float]:
    """Effect of `column` on ln exit speed beside the settings' own means; and the column's share that is left."""
    return slope(logs, column, setting_columns(settings))


def by_model(found: BestFit, column: Floats) -> tuple[Difference, float]:
    """Effect of `column` on ln exit speed beside what the model's parameters could do; and the share that is left."""
    return slope(tame(found), column, model_columns(found))

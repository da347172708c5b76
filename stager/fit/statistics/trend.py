"""A coefficient among covariates: ordinary least squares with Student's t."""

from __future__ import annotations

import numpy as np

from stager.fit.statistics.welch import Difference, judged
from stager.model.arrays import Floats


class Together(ValueError):
    """The covariates leave nothing of the column."""


def slope(values: Floats, column: Floats, covariates: Floats, *, coverage: float = 0.95) -> tuple[Difference, float]:
    """Coefficient of `column` (n,) in `values` (n,) beside `covariates` (n, k), any units; and how much of the column
    the covariates leave, as a share of its sum of squares [-].

    Raises ValueError where fewer than one degree of freedom is left, Together where nothing of the column is.
    """
    basis = _basis(covariates)
    left = column - basis @ (basis.T @ column)
    about_mean = float(((column - column.mean()) ** 2).sum())
    share = float((left**2).sum()) / about_mean if about_mean > 0 else 0.0
    freedom = values.size - basis.shape[1] - 1
    if freedom < 1:
        raise ValueError("too few throws to tell this from the settings")
    if share < 1e-9:
        raise Together("goes with the settings")
    value = float(left @ values / (left @ left))
    residuals = values - basis @ (basis.T @ values) - value * left
    scatter = float((residuals**2).sum()) / freedom
    return judged(value, float(np.sqrt(scatter / (left @ left))), float(freedom), coverage), share


def _basis(covariates: Floats) -> Floats:
    """Orthonormal columns that span the covariates, those that add nothing left out."""
    scale = np.sqrt((covariates**2).sum(axis=0))
    columns = covariates[:, scale > 0] / scale[scale > 0]
    u, s, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(u[:, s > 1e-7 * s.max(initial=1e-300)])

"""Tests of what a fit has left: structure, runs, groups. Each returns a p value under plain independent scatter."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats

RESAMPLES = 1999
FEWEST = 6


def structure(residuals: Floats, columns: Floats, tangents: Floats) -> float:
    """Return the p value of an F test of whether `columns` explain more of the residuals than scatter would.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
    columns : ndarray, shape (n, k)
        What might explain them.
    tangents : ndarray, shape (n, p)
        Directions in which the fit has already moved them: nothing that lies in these can be tested.

    Returns
    -------
    float
        1 where too few residuals are left to tell.
    """
    from scipy.special import fdtrc

    before = _basis(tangents)
    left = residuals - before @ (before.T @ residuals)
    apart = columns - before @ (before.T @ columns)
    kept = (apart**2).sum(axis=0) > 1e-8 * (columns**2).sum(axis=0)
    beyond = _basis(apart[:, kept])
    freedom = residuals.size - before.shape[1] - beyond.shape[1]
    if freedom < 1 or beyond.shape[1] == 0:
        return 1.0
    explained = float(((beyond.T @ left) ** 2).sum())
    rest = float((left**2).sum()) - explained
    if rest <= 0:
        return 1.0 if explained <= 0 else 0.0
    return float(fdtrc(beyond.shape[1], freedom, explained / beyond.shape[1] / (rest / freedom)))


def runs(residuals: Floats, tangents: Floats, rng: np.random.Generator) -> float:
    """Return the p value of residuals that follow their neighbours, in the order given.

    The ratio of von Neumann (Ann. Math. Stat. 12, 1941), against the same ratio of fresh scatter that was fitted as
    these were: `tangents` (n, p) as in `structure`.
    """
    if residuals.size < FEWEST:
        return 1.0
    before = _basis(tangents)
    if residuals.size - before.shape[1] < FEWEST // 2:
        return 1.0
    fresh = rng.normal(size=(RESAMPLES, residuals.size))
    fresh -= (fresh @ before) @ before.T
    here = _ratio((residuals - before @ (before.T @ residuals))[None])[0]
    return float((1 + (_ratio(fresh) <= here).sum()) / (1 + RESAMPLES))


def groups(residuals: Floats, rng: np.random.Generator) -> tuple[float, Floats]:
    """Return the p value of residuals (n,) that fall into two groups, and the group of each (n,), 0 or 1.

    The share of the sum of squares that is left about the means of the best two groups, against that of normal scatter.
    """
    if residuals.size < 2 * FEWEST:
        return 1.0, np.zeros(residuals.size)
    here, cut = _two(residuals[None])
    fresh, _ = _two(rng.normal(size=(RESAMPLES, residuals.size)))
    return float((1 + (fresh <= here[0]).sum()) / (1 + RESAMPLES)), (residuals > cut[0]).astype(np.float64)


def _ratio(rows: Floats) -> Floats:
    """Sum of squared differences of neighbours by the sum of squares, (lanes,) for rows (lanes, n)."""
    return np.asarray((np.diff(rows, axis=1) ** 2).sum(axis=1) / np.maximum((rows**2).sum(axis=1), 1e-300))


def _two(rows: Floats) -> tuple[Floats, Floats]:
    """Share left about two groups (lanes,), and where they part (lanes,), for rows (lanes, n)."""
    ordered = np.sort(rows, axis=1)
    count = rows.shape[1]
    sums = np.cumsum(ordered, axis=1)
    sizes = np.arange(1, count)
    low, high = sums[:, :-1] / sizes, (sums[:, -1:] - sums[:, :-1]) / (count - sizes)
    total = (ordered**2).sum(axis=1, keepdims=True) - sums[:, -1:] ** 2 / count
    between = sizes * low**2 + (count - sizes) * high**2 - sums[:, -1:] ** 2 / count
    # A single outlier is no group.
    enough = (sizes >= max(2, count // 8)) & (sizes <= count - max(2, count // 8))
    share = np.where(enough, 1 - between / np.maximum(total, 1e-300), np.inf)
    best = share.argmin(axis=1)
    lanes = np.arange(len(rows))
    return share[lanes, best], (ordered[lanes, best] + ordered[lanes, best + 1]) / 2


def _basis(columns: Floats) -> Floats:
    """Orthonormal columns that span `columns` (n, k), those that add nothing left out."""
    scale = np.sqrt((columns**2).sum(axis=0))
    kept = columns[:, scale > 1e-9 * max(float(scale.max(initial=0.0)), 1e-300)]
    if kept.shape[1] == 0:
        return np.zeros((columns.shape[0], 0))
    u, s, _ = np.linalg.svd(kept / np.sqrt((kept**2).sum(axis=0)), full_matrices=False)
    return np.asarray(u[:, s > 1e-6 * s.max()])

"""Quantiles and coverage intervals of weighted draws."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats


def quantile(draws: Floats, weights: Floats, shares: Floats) -> Floats:
    """Quantiles of draws (n, ...) with weights (n,) that add to 1, at `shares` (k,); shape (k, ...).

    Between draws by straight lines through the middles of their steps.
    """
    flat = draws.reshape(draws.shape[0], -1)
    out = np.empty((shares.size, flat.shape[1]))
    for column in range(flat.shape[1]):
        order = np.argsort(flat[:, column], kind="stable")
        heights = np.cumsum(weights[order]) - 0.5 * weights[order]
        out[:, column] = np.interp(shares, heights, flat[order, column])
    return out.reshape(shares.size, *draws.shape[1:])


def interval(draws: Floats, weights: Floats | None = None, coverage: float = 0.95) -> tuple[float, float]:
    """Probabilistically symmetric coverage interval (JCGM 101, 7.7) of draws (n,).

    Few draws make a narrow interval: its ends are order statistics whose expected shares beyond are the tails asked
    for, r/(n + 1) for the r-th of n, n being the number of equal draws that would tell as much.
    """
    weights = np.full(draws.shape[0], 1 / draws.shape[0]) if weights is None else weights
    tail = (1 - coverage) / 2
    tail -= (0.5 - tail) * float((weights**2).sum())
    low, high = quantile(draws, weights, np.array([tail, 1 - tail]))
    return float(low), float(high)


def moments(draws: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Mean (p,) and covariance (p, p) of weighted draws (n, p)."""
    mean = weights @ draws
    centred = draws - mean
    return mean, (centred * weights[:, None]).T @ centred

"""Heavy importance weights: smoothed, and judged by the shape of their tail.

Vehtari, Simpson, Gelman, Yao and Gabry, Pareto smoothed importance sampling (2015, JMLR 2024); the tail is fitted as
Zhang and Stephens, Technometrics 51 (2009) do; both from memory. The tests hold it against arviz-stats, which
brings more packages along than forty lines are worth.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats

TRUSTED = 0.7


def threshold(count: int) -> float:
    """Return the tail's shape above which `count` draws are not relied on: min(1 − 1/log10 S, 0.7), Vehtari et al."""
    return min(1 - 1 / float(np.log10(max(count, 11))), TRUSTED)


def smooth(log_weights: Floats) -> tuple[Floats, float]:
    """Weights (n,) that add to 1 from their logarithms (n,), the tail's shape k; above TRUSTED do not rely on them."""
    weights = np.exp(log_weights - log_weights.max())
    count = weights.size
    tail = min(count // 5, int(3 * np.sqrt(count)))
    if tail < 5:
        return weights / weights.sum(), np.inf
    order = np.argsort(weights)
    cut = weights[order[-tail - 1]]
    over = weights[order[-tail:]] - cut
    if over[-1] <= 0:
        return weights / weights.sum(), -np.inf
    shape, scale = _fit(np.maximum(over, 1e-300))
    shares = (np.arange(tail) + 0.5) / tail
    bent = -scale * np.log1p(-shares) if abs(shape) < 1e-9 else scale * np.expm1(-shape * np.log1p(-shares)) / shape
    weights[order[-tail:]] = np.minimum(cut + bent, 1.0)
    return weights / weights.sum(), float(shape)


def _fit(over: Floats) -> tuple[float, float]:
    """Shape k and scale of a generalised Pareto distribution for sorted excesses (n,)."""
    count = over.size
    guesses = 30 + int(np.sqrt(count))
    quarter = over[max(int(count / 4 + 0.5) - 1, 0)]
    theta = 1 / over[-1] + (1 - np.sqrt(guesses / (np.arange(1, guesses + 1) - 0.5))) / (3 * quarter)
    k = np.log1p(-theta[:, None] * over).mean(axis=1)
    height = count * (np.log(-theta / k) - k - 1)
    weight = 1 / np.exp(height - height[:, None]).sum(axis=1)
    best = float((theta * weight).sum() / weight.sum())
    shape = float(np.log1p(-best * over).mean())
    # A weak prior towards 1/2 keeps few points from shouting.
    return (shape * count + 0.5 * 10) / (count + 10), -shape / best

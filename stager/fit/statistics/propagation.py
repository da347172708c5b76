"""Propagation of distributions with as many trials as the wanted digits need (JCGM 101:2008, 7.9)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.fit.statistics.coverage import interval
from stager.model.arrays import Floats

Model = Callable[[np.random.Generator, int], Floats]
"""So many independent draws of the result, shape (count,)."""

BLOCK = 10_000
LEAST_BLOCKS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Propagated:
    """Mean, standard uncertainty, coverage interval, number of trials, and whether the digits have settled."""

    mean: float
    standard_uncertainty: float
    interval: tuple[float, float]
    trials: int
    settled: bool


def propagate(
    model: Model,
    rng: np.random.Generator,
    *,
    coverage: float = 0.95,
    digits: int = 2,
    block: int = BLOCK,
    most: int = 10_000_000,
) -> Propagated:
    """Draw blocks until mean, standard uncertainty and interval are known to half a unit of the last digit.

    digits: significant ones of the standard uncertainty (7.9.2); settled where twice the standard deviation of each
    mean over the blocks is within the tolerance of 7.9.2 (7.9.4).
    """
    draws: list[Floats] = []
    rows: list[tuple[float, float, float, float]] = []
    size = max(block, math.ceil(100 / (1 - coverage)))
    while True:
        fresh = model(rng, size)
        draws.append(fresh)
        rows.append((float(fresh.mean()), float(fresh.std(ddof=1)), *interval(fresh, coverage=coverage)))
        everything = np.concatenate(draws)
        spread = float(everything.std(ddof=1))
        settled = False
        if len(rows) >= LEAST_BLOCKS:  # fewer say little about their own scatter
            wobble = np.std(rows, axis=0, ddof=1) / math.sqrt(len(rows))
            settled = bool((2 * wobble <= tolerance(spread, digits)).all())
        if settled or everything.size >= most:
            return Propagated(
                mean=float(everything.mean()), standard_uncertainty=spread,
                interval=interval(everything, coverage=coverage), trials=everything.size, settled=settled,
            )  # fmt: skip


def tolerance(standard_uncertainty: float, digits: int) -> float:
    """Half a unit of the last of so many significant digits (JCGM 101, 7.9.2)."""
    if standard_uncertainty == 0:
        return 0.0
    exponent = math.floor(math.log10(standard_uncertainty)) - digits + 1
    return 0.5 * 10.0**exponent

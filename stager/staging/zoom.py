"""Search along one variable, many lanes at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.hardware.arrays import Floats

Curve = Callable[[Floats], Floats]
"""Values at candidates, both of shape (candidates, lanes)."""


def greatest(curve: Curve, low: Floats, high: Floats, *, points: int, rounds: int) -> tuple[Floats, Floats]:
    """Place and value of the greatest value between `low` and `high`, all of shape (lanes,).

    A grid of `points`, then `rounds` finer grids around its best place: the curve may have kinks, but its best peak
    must be wider than a cell of the first grid.
    """
    low, high = np.broadcast_arrays(low, high)
    lanes = np.arange(low.size)
    place, value = low.copy(), np.full(low.shape, -np.inf)
    for _ in range(rounds + 1):
        grid = low + (high - low) * np.linspace(0.0, 1.0, points)[:, None]
        found = curve(grid)
        best = np.argmax(found, axis=0)
        better = found[best, lanes] > value
        place = np.where(better, grid[best, lanes], place)
        value = np.where(better, found[best, lanes], value)
        low, high = grid[np.maximum(best - 1, 0), lanes], grid[np.minimum(best + 1, points - 1), lanes]
    return place, value


def first_above(
    curve: Curve, level: Floats, grid: Floats, values: Floats, *, points: int, rounds: int
) -> tuple[Floats, Floats]:
    """Least place where the curve reaches `level` (lanes,), and its value there; NaN where it never does.

    grid, values: the curve as known, shape (candidates, lanes), rising along the first axis.
    """
    lanes = np.arange(values.shape[1])
    reached = values >= level
    first = np.argmax(reached, axis=0)
    some = reached.any(axis=0)
    low, high = grid[np.maximum(first - 1, 0), lanes], grid[first, lanes]
    value = values[first, lanes]
    for _ in range(rounds):
        fine = low + (high - low) * np.linspace(0.0, 1.0, points)[:, None]
        found = curve(fine)
        found[-1] = np.maximum(found[-1], level)
        first = np.argmax(found >= level, axis=0)
        low, high = fine[np.maximum(first - 1, 0), lanes], fine[first, lanes]
        value = found[first, lanes]
    return np.where(some, high, np.nan), np.where(some, value, np.nan)

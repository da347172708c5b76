"""Search along one variable, many lanes at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

Curve = Callable[[Floats], Floats]
"""Values at candidates, both of shape (candidates, lanes)."""


class Looks(NamedTuple):
    """How closely a search looks: rounds of refinement; close: where each looks about a peak, as shares of the way to
    its neighbours; crossing: places that each looks at where a level is crossed."""

    rounds: int
    close: tuple[float, ...] = (-0.3, -0.1, -0.03, -0.01, -0.003, 0.0, 0.003, 0.01, 0.03, 0.1, 0.3)
    crossing: int = 10


def sharpen(curve: Curve, grid: Floats, values: Floats, looks: Looks) -> tuple[Floats, Floats]:
    """The curve known at `grid`, shape (candidates, lanes), rising along the first axis, with more places about its
    greatest value.

    That may be a kink: each round looks where lines through the neighbours on either side meet, close by, and
    half-way out. A curve that ends in a jam, 0, is halved instead.
    """
    close = np.array(looks.close)[:, None]
    for _ in range(looks.rounds):
        low, middle, high, meeting = _about_peak(grid, values)
        reach = np.maximum(high - middle, middle - low)
        tried = np.clip(meeting + reach * close, low, high)
        more = np.vstack([tried, (low + middle) / 2, (middle + high) / 2])
        grid, values = merge(grid, values, more, curve(more))
    return grid, values


def _about_peak(grid: Floats, values: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Neighbours of the greatest value, itself between them, and where the lines on either side meet."""
    lanes, last = np.arange(grid.shape[1]), len(grid) - 1
    best = np.argmax(values, axis=0)
    left, right = np.maximum(best - 1, 0), np.minimum(best + 1, last)
    low, middle, high = grid[left, lanes], grid[best, lanes], grid[right, lanes]
    rise = _slope(grid, values, np.maximum(best - 2, 0), left)
    fall = _slope(grid, values, right, np.minimum(best + 2, last))
    usable = (rise > 0) & (fall < 0) & (values[right, lanes] > 0)
    gap = values[right, lanes] - values[left, lanes] - rise * (high - low)
    meeting = high - np.where(usable, gap / np.where(usable, fall - rise, 1.0), 0.0)
    jam = values[right, lanes] <= 0
    centre = np.where(jam, (middle + high) / 2, middle)
    return low, middle, high, np.where(usable, np.clip(meeting, low, high), centre)


def _slope(grid: Floats, values: Floats, first: NDArray[np.intp], second: NDArray[np.intp]) -> Floats:
    lanes = np.arange(grid.shape[1])
    width = grid[second, lanes] - grid[first, lanes]
    return (values[second, lanes] - values[first, lanes]) / np.where(width > 0, width, np.inf)


def merge(grid: Floats, values: Floats, more: Floats, found: Floats) -> tuple[Floats, Floats]:
    """A curve with more places put in order."""
    grid, values = np.vstack([grid, more]), np.vstack([values, found])
    order = np.argsort(grid, axis=0, kind="stable")
    return np.take_along_axis(grid, order, axis=0), np.take_along_axis(values, order, axis=0)


def first_above(curve: Curve, level: Floats, grid: Floats, values: Floats, looks: Looks) -> tuple[Floats, Floats]:
    """Least place where the curve reaches `level` (lanes,), and its value there; NaN where it never does.

    grid, values: the curve as known, shape (candidates, lanes), rising along the first axis. Between the last two
    places looked at the curve is taken to be straight.
    """
    lanes = np.arange(values.shape[1])
    some = (values >= level).any(axis=0)
    for _ in range(looks.rounds - 1):
        first = np.argmax(values >= level, axis=0)
        low, high = grid[np.maximum(first - 1, 0), lanes], grid[first, lanes]
        reached = values[first, lanes]
        grid = low + (high - low) * np.linspace(0.0, 1.0, looks.crossing)[:, None]
        values = curve(grid)
        values[-1] = np.maximum(values[-1], np.where(some, np.maximum(reached, level), values[-1]))
    first = np.argmax(values >= level, axis=0)
    before = np.maximum(first - 1, 0)
    low, high, under, over = grid[before, lanes], grid[first, lanes], values[before, lanes], values[first, lanes]
    # From 0, a jam, the curve jumps.
    straight = (under > 0) & (under < level) & (over > under)
    share = np.where(straight, (level - under) / np.where(straight, over - under, 1.0), 1.0)
    place, value = low + share * (high - low), under + share * (over - under)
    return np.where(some, place, np.nan), np.where(some, value, np.nan)

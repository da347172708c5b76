"""Fixed points of slowly contracting maps, many lanes at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedPoint:
    """Point, shape (lanes, rows); converged, (lanes,); calls: how often the map was asked."""

    point: Floats
    converged: NDArray[np.bool_]
    calls: int


ROOM = 4.0
Map = Callable[[Floats, NDArray[np.intp], int], Floats]


def fixed_point(
    change: Map, start: Floats, first: Floats, slope: Floats, scale: Floats, *, tolerance: float, most: int
) -> FixedPoint:
    """x with G(x) = x by Broyden's method from `start`, shape (lanes, rows), where G is `first` already.

    change(x, lanes, call) gives G of the chosen lanes; slope: a guess of G's derivative, row by row, (lanes, rows);
    scale: size of each row; a lane is done when its step and its residual are below `tolerance` of it. Points stay
    within 0 … scale, or ROOM times that where `first` is beyond it: a step out of it gives way to plain repetition.
    """
    count, rows = start.shape
    point, value = start.copy(), first.copy()
    inverse = np.zeros((count, rows, rows))
    inverse[:, np.arange(rows), np.arange(rows)] = 1 / np.maximum(1 - slope, 1e-3)
    going, top = np.arange(count), np.where(first > scale, ROOM, 1.0) * scale
    step = _times(inverse, value - point)
    for call in range(most):
        left = value[going] - point[going]
        aim = point[going] + step
        inside = ((aim >= 0.0) & (aim <= top[going])).all(axis=-1, keepdims=True)
        step = np.where(inside, step, left)
        moving = (np.maximum(np.abs(step), np.abs(left)) > tolerance * scale[going]).any(axis=-1)
        point[going] += step
        going, step = going[moving], step[moving]
        if going.size == 0:
            return FixedPoint(point=point, converged=np.ones(count, bool), calls=call)
        before = value[going] - (point[going] - step)
        value[going] = change(point[going], going, call)
        left = value[going] - point[going]
        _update(inverse, going, step, before - left)
        step = _times(inverse[going], left)
    converged = np.ones(count, bool)
    converged[going] = False
    return FixedPoint(point=point, converged=converged, calls=most)


def _update(inverse: Floats, going: NDArray[np.intp], step: Floats, drop: Floats) -> None:
    """Broyden's good update of the inverse of −dr/dx, from a step and the drop of the residual along it, in place."""
    here = inverse[going]
    reached = _times(here, drop)
    along = np.einsum("li,lij->lj", step, here)
    scale = (along * drop).sum(axis=-1)
    useful = np.abs(scale) > 1e-12 * (step**2).sum(axis=-1)
    factor = np.where(useful, 1.0, 0.0) / np.where(useful, scale, 1.0)
    inverse[going] = here + (factor[:, None] * (step - reached))[:, :, None] * along[:, None, :]


def _times(matrix: Floats, vector: Floats) -> Floats:
    return np.asarray(np.einsum("lij,lj->li", matrix, vector))

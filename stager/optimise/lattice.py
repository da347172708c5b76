"""Smooth interpolation between values on a lattice of up to three axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

STENCIL = 4


class Lattice:
    """Local cubics through values at whole-numbered places; several quantities at once."""

    def __init__(self, values: Floats) -> None:
        """values: shape (n1, ..., quantities), up to three axes of places before the last."""
        self.sizes = values.shape[:-1]
        self.values = np.ascontiguousarray(values).reshape(-1, values.shape[-1])

    def near(self, *places: Floats) -> Near:
        """Nodes near `places`, one array (lanes,) an axis, in units of the lattice.

        Places outside are taken at the edge.
        """
        lanes = places[0].size
        found = Near(np.zeros((lanes, 1), np.intp), np.ones((lanes, 1)))
        for place, size in zip(places, self.sizes, strict=True):
            found = found.along(place, size)
        return found

    def at(self, near: Near) -> Floats:
        """Values there, shape (lanes, quantities)."""
        return np.asarray((near.weights[:, None, :] @ self.values[near.nodes])[:, 0])


@dataclass(frozen=True, slots=True)
class Near:
    """Nodes and their weights, (lanes, nodes)."""

    nodes: NDArray[np.intp]
    weights: Floats

    def along(self, place: Floats, size: int) -> Near:
        """The same with one more axis of `size` nodes, at `place` of it, (lanes,)."""
        if size == 1:
            return self
        base, weights = _stencil(place, size)
        nodes = (self.nodes * size)[:, :, None] + (base[:, None] + np.arange(len(weights)))[:, None, :]
        lanes = place.size
        return Near(
            nodes.reshape(lanes, -1), (self.weights[:, :, None] * weights.T[:, None, :]).reshape(lanes, -1)
        )  # fmt: skip


def _stencil(place: Floats, size: int) -> tuple[NDArray[np.intp], Floats]:
    """First node and Lagrange weights, shape (nodes, lanes), of the cubic (fewer nodes: less) at `place`."""
    count = min(STENCIL, size)
    place = np.minimum(np.maximum(place, 0.0), size - 1.0)
    base = np.minimum(np.maximum(np.floor(place).astype(np.intp) - (count - 1) // 2, 0), size - count)
    offset = place - base
    if count == STENCIL:
        return base, _cubic(offset)
    weights = np.ones((count, place.size))
    for node in range(count):
        for other in range(count):
            if other != node:
                weights[node] *= (offset - other) / (node - other)
    return base, weights


def _cubic(offset: Floats) -> Floats:
    """Lagrange weights of nodes 0, 1, 2, 3."""
    one, two, three = offset - 1.0, offset - 2.0, offset - 3.0
    near, far = offset * one, two * three
    return np.stack([one * far / -6.0, offset * far / 2.0, near * three / -2.0, near * two / 6.0])

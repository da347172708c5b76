"""All segments of a way, each lane in one of its own."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.physics.transit.lanes import bare, each, parts_of, take
from stager.physics.transit.segment import Segment

Index = NDArray[np.intp]


class Course:
    """`segments` in turn, for `lanes` lanes.

    idle: where a segment is no way at all for a lane, shape (segments, lanes); after: the next one at or behind each,
    how many there are behind the last, shape (segments + 1, lanes).
    """

    def __init__(self, segments: tuple[Segment, ...], lanes: int) -> None:
        self.segments = segments
        self.idle = np.stack([np.broadcast_to(~(segment.span > 0.0), (lanes,)) for segment in segments])
        self.after = np.full((len(segments) + 1, lanes), len(segments), np.intp)
        for number in reversed(range(len(segments))):
            self.after[number] = np.where(self.idle[number], self.after[number + 1], number)

    @cached_property
    def _stacked(self) -> Segment:
        stacked: Segment = _stacked(self.segments)
        return stacked

    def at(self, number: Index, index: Index) -> Segment:
        """Segment `number` of each of the lanes `index`, as one record in their order."""

        def own(array: Floats) -> Floats:
            if array.ndim < 2:
                return bare(array) if array.size == 1 else array[index]
            return array[number, index] if array.shape[1] > 1 else array[number, 0]

        chosen: Segment = each(self._stacked, own)
        return chosen

    def alone(self, number: int, index: int) -> Segment:
        """Segment `number` of lane `index`."""
        segment: Segment = self.segments[number]
        return segment if self.idle.shape[1] == 1 else take(segment, [index])


def _stacked(values: tuple[Any, ...]) -> Any:
    """Records of the same kind as one, arrays that differ in shape (records, lanes) or (records, 1)."""
    first = values[0]
    if all(value is first for value in values):
        return first
    if isinstance(first, np.ndarray):
        return np.stack(np.broadcast_arrays(*values))
    if isinstance(first, tuple):
        return tuple(_stacked(items) for items in zip(*values, strict=True))
    changes = {name: _stacked(tuple(getattr(value, name) for value in values)) for name in parts_of(first)}
    return replace(first, **changes) if changes else first

"""Batches of records: common shape, flattening to one axis of samples, selection of samples.

A value that is the same in all samples keeps length 1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number


def shape_of(value: Number) -> tuple[int, ...]:
    """Return the shape of a number or array."""
    return () if isinstance(value, float | int) else np.shape(value)


def common_shape(*shapes: tuple[int, ...]) -> tuple[int, ...]:
    """Return the shape that `shapes` broadcast to; quick where at most one differs from ()."""
    kinds = set(shapes)
    # () sorts before any other shape.
    return max(kinds) if len(kinds) == 1 or (len(kinds) == 2 and () in kinds) else np.broadcast_shapes(*kinds)


def batch_shape(*records: Any) -> tuple[int, ...]:
    """Return the common shape of all arrays in values and records, nested records and tuples included."""
    shapes: set[tuple[int, ...]] = {()}
    _gather_shapes(records, shapes, set())
    return common_shape(*shapes)


def _gather_shapes(value: Any, shapes: set[tuple[int, ...]], seen: set[int]) -> None:
    """Add the shapes of arrays in a value; seen: identities of the parts that were looked at, as stages share them."""
    if isinstance(value, np.ndarray):
        shapes.add(value.shape)
        return
    for item in value if isinstance(value, tuple) else [getattr(value, name) for name in parts_of(value)]:
        if type(item) not in _BARE and id(item) not in seen:
            seen.add(id(item))
            _gather_shapes(item, shapes, seen)


def as_samples(value: Number, shape: tuple[int, ...]) -> Floats:
    """Return `value` as an array of shape (1,) where it is the same in all samples, else (samples,)."""
    array = np.asarray(value, dtype=np.float64)
    if array.size == 1:
        return array.reshape(1)
    return np.ascontiguousarray(np.broadcast_to(array, shape)).reshape(-1)


def flatten(value: Any, shape: tuple[int, ...]) -> Any:
    """Return a record with every array in it flattened to (samples,) or (1,); plain floats stay floats."""
    return each(value, lambda array: as_samples(array, shape))


def take(value: Any, index: NDArray[np.intp] | list[int] | slice) -> Any:
    """Return the samples `index` of an array, tuple or record; arrays of length 1 are returned as they are."""
    return each(value, lambda array: array if array.shape[-1:] in ((), (1,)) else array[..., index])


def each(value: Any, change: Callable[[Floats], Floats]) -> Any:
    """Return a tree of records with `change` applied to each array; parts without arrays are the same objects."""
    if isinstance(value, np.ndarray):
        return change(value)
    if isinstance(value, tuple):
        done = {id(item): each(item, change) for item in value}
        same = all(done[id(item)] is item for item in value)
        return value if same else tuple(done[id(item)] for item in value)
    changes = {}
    for name in parts_of(value):
        item = getattr(value, name)
        if type(item) not in _BARE and (new := each(item, change)) is not item:
            changes[name] = new
    return replace(value, **changes) if changes else value


def parts_of(value: Any) -> tuple[str, ...]:
    """Return the names of the fields that a record is made from; none for other values."""
    kind: Any = type(value)
    return _parts_of(kind)


@cache
def _parts_of(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.init) if is_dataclass(kind) else ()


_BARE = frozenset((type(None), bool, int, float, str))
"""Types that hold no array."""

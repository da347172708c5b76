"""Records of wheels with their batch axes made one: (lanes, wheels) and (lanes,)."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np

from stager.model.arrays import Floats

Record = TypeVar("Record", bound=Any)


def lanes(value: Floats, lead: tuple[int, ...], wheels: int | None = None) -> Floats:
    """`value` of shape (*lead, wheels), or (*lead) without `wheels`, as lanes; wheels lie apart in memory."""
    if wheels is None:
        return np.broadcast_to(value, lead).reshape(-1)
    return np.asfortranarray(np.broadcast_to(value, (*lead, wheels)).reshape(-1, wheels))


def record_in_lanes(record: Record, lead: tuple[int, ...], wheels: int | None) -> Record:
    """A record whose arrays are all of shape (..., wheels), or (...) without `wheels`; those without batch stay."""
    changes: dict[str, Any] = {}
    for field in fields(record):
        value = getattr(record, field.name)
        if is_dataclass(value):
            changes[field.name] = record_in_lanes(value, lead, wheels)
        if isinstance(value, np.ndarray) and value.ndim > (0 if wheels is None else 1):
            changes[field.name] = lanes(value, lead, wheels)
    return replace(record, **changes)

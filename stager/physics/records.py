"""Results of a transit through a stage and of a throw through a chain; batches of records.

A batch has a common shape; records of it are flattened, and samples of them taken.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from enum import IntEnum
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


SAME_SPIN = 1e-3
"""Relative change up to which the spin counts as unchanged [-]."""


class Grip(IntEnum):
    """Outcome of a contact; SYNC: the slip of side A fell to 3 × creep or less while in contact."""

    SYNC = 0
    SLIP = 1
    JAM = 2
    NOT_REACHED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Transit:
    """Contact with one stage or, with a last axis over the stages, with each stage of a chain.

    Every field has the batch's shape. Side B's are 0 on a rail. After a jam exit_speed is 0 and the sums are those up
    to the standstill; a stage behind a jam is NOT_REACHED and all its fields are 0.

    wheel_speed, wheel_speed_after: surface speed of each side at the start and at the end [m/s]
    wheel_top, wheel_low: greatest and least surface speed of each side [m/s]; above the one at the start where the
        projectile drives the wheel
    entry_speed, exit_speed [m/s]; entry_spin, exit_spin [rad/s]: of the projectile
    slip_at_exit, least_slip: of side A, at the end and the least absolute one [m/s]
    contact_time [s]
    wheel_work: ∫F·u dt of each side [J]; slip_heat: ∫F·s dt of each side [J]
    crush_loss: energy lost by compression and release [J]
    peak_acceleration: along the barrel [m/s^2]
    motor_impulse: ∫τ dt [N m s], motor_square: ∫τ² dt [N^2 m^2 s] of the torque of each side's motor at the wheel above
        that which holds the set speed
    """

    wheel_speed_a: Floats
    wheel_speed_b: Floats
    entry_speed: Floats
    exit_speed: Floats
    entry_spin: Floats
    exit_spin: Floats
    wheel_speed_after_a: Floats
    wheel_speed_after_b: Floats
    slip_at_exit: Floats
    least_slip: Floats
    grip: NDArray[np.int8]
    contact_time: Floats
    wheel_work_a: Floats
    wheel_work_b: Floats
    slip_heat_a: Floats
    slip_heat_b: Floats
    crush_loss: Floats
    peak_acceleration: Floats
    motor_impulse_a: Floats
    motor_impulse_b: Floats
    motor_square_a: Floats
    motor_square_b: Floats
    wheel_top_a: Floats
    wheel_top_b: Floats
    wheel_low_a: Floats
    wheel_low_b: Floats

    @property
    def jammed(self) -> NDArray[np.bool_]:
        """Whether the projectile did not get through."""
        return self.grip >= Grip.JAM

    @property
    def spin_stays(self) -> NDArray[np.bool_]:
        """Whether the projectile leaves with its entry spin, to SAME_SPIN."""
        return np.asarray(np.abs(self.exit_spin - self.entry_spin) <= SAME_SPIN * np.abs(self.exit_spin))

    @property
    def a_leads(self) -> NDArray[np.bool_]:
        """Whether side A leads: it drives the change of spin, or is the faster side where the spin stays."""
        faster = self.wheel_speed_a >= self.wheel_speed_b
        return np.where(self.spin_stays, faster, self.exit_spin > self.entry_spin)

    @property
    def wheel_work(self) -> Floats:
        """Return the work of both wheels [J]; that of an idler is negative."""
        return self.wheel_work_a + self.wheel_work_b

    @property
    def slip_heat(self) -> Floats:
        """Return the slip heat of both sides [J]."""
        return self.slip_heat_a + self.slip_heat_b


FIELDS = tuple(field.name for field in fields(Transit))
"""Names of the fields of a transit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Throw:
    """One throw through a chain: fields of `stages` have a last axis over the stages, the others the batch's shape.

    exit_speed [m/s], spin [rad/s]: of the projectile behind the last wheel; 0 after a jam
    """

    stages: Transit
    exit_speed: Floats
    spin: Floats
    jammed: NDArray[np.bool_]

"""A throw through stages in a row."""

from __future__ import annotations

from itertools import pairwise
from math import ceil, prod

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.layout import length, pitch
from stager.physics.options import DEFAULT, Options
from stager.physics.records import FIELDS, Throw, Transit
from stager.physics.relay import relay
from stager.physics.settings import Settings
from stager.physics.stretch import blank
from stager.physics.transit.lanes import batch_shape, flatten, lane, take

__all__ = ["length", "pitch", "throw", "transit"]


def throw(
    launcher: Launcher,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    entry_speed: Number | None = None,
    entry_spin: Number | None = None,
    held_speed: Floats | None = None,
    held_speed_b: Floats | None = None,
    first: int = 0,
    count: Floats | None = None,
    options: Options = DEFAULT,
) -> Throw:
    """Throw through as many stages as `wheel_speed` has on its last axis.

    wheel_speed: set surface speeds [m/s], shape (..., stages); wheel_speed_b: side B's, where a pair runs two
    speeds; entry_speed [m/s] and entry_spin [rad/s] (None: the feed's; no spin where entry_speed is given);
    held_speed, held_speed_b: speeds that the throttles would hold [m/s], shapes as the wheels' (None: the wheels have
    come up to them);
    first: which stage of the launcher comes first; count: behind how many stages a throw ends (None: behind the last),
    shape (...), further ones are not reached.
    Arrays in `launcher` are over the batch and broadcast against `wheel_speed[..., k]`.
    Result: shapes (...) for the throw and (..., stages) for its stages. Raises ValueError where a part that the
    throw needs is missing from the launcher.
    """
    speeds = np.asarray(wheel_speed, dtype=np.float64)
    speeds_b = speeds if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
    stages = speeds.shape[-1]
    entry_at = launcher.feed.speed if entry_speed is None else entry_speed
    if entry_spin is None:
        entry_spin = launcher.feed.spin if entry_speed is None else 0.0
    held = speeds if held_speed is None else np.asarray(held_speed, dtype=np.float64)
    held_b = held if held_speed_b is None else np.asarray(held_speed_b, dtype=np.float64)
    one_stage = (speeds[..., :1].sum(-1), speeds_b[..., :1].sum(-1), held[..., :1].sum(-1), held_b[..., :1].sum(-1))
    shape = batch_shape(launcher, *one_stage, np.asarray(entry_at), np.asarray(entry_spin))
    flat = flatten(launcher, shape)
    entry = np.broadcast_to(lane(entry_at, shape), _size(shape))
    spin = np.broadcast_to(lane(entry_spin, shape), _size(shape))

    def row(given: Floats | None, values: Floats) -> tuple[Floats, ...] | None:
        return None if given is None else tuple(lane(values[..., k], shape) for k in range(stages))

    settings = Settings(
        row(speeds, speeds) or (), row(wheel_speed_b, speeds_b), row(held_speed, held), row(held_speed_b, held_b)
    )
    ends = np.broadcast_to(lane(stages if count is None else count, shape), _size(shape))
    if entry.size <= options.chunk:
        merged = _turned(relay(flat, first, entry, spin, settings, options, ends))
        return _gather(merged, shape, stages, entry, spin)
    merged = blank(entry.size, stages)
    # Parts alike: a small last one would take nearly as many steps as the others.
    cuts = np.linspace(0, entry.size, 1 + ceil(entry.size / options.chunk)).astype(int)
    for start, end in pairwise(cuts.tolist()):
        chosen = slice(start, end)
        here, own = take((flat, settings), chosen)
        part = relay(here, first, entry[chosen], spin[chosen], own, options, ends[chosen])
        for name in FIELDS:
            getattr(merged, name)[chosen] = getattr(part, name).T
    return _gather(merged, shape, stages, entry, spin)


def transit(
    launcher: Launcher,
    index: int,
    entry_speed: Number,
    wheel_speed: Number,
    wheel_speed_b: Number | None = None,
    *,
    entry_spin: Number = 0.0,
    options: Options = DEFAULT,
) -> Transit:
    """One transit of stage `index` alone; speeds [m/s], spin [rad/s] and result have the batch's shape."""
    speed_b = None if wheel_speed_b is None else np.asarray(wheel_speed_b)[..., None]
    done = throw(
        launcher, np.asarray(wheel_speed)[..., None], speed_b,
        entry_speed=entry_speed, entry_spin=entry_spin, first=index, options=options,
    )  # fmt: skip
    return Transit(**{name: getattr(done.stages, name)[..., 0] for name in FIELDS})


def _size(shape: tuple[int, ...]) -> tuple[int]:
    return (prod(shape),)


def _turned(part: Transit) -> Transit:
    """The same with stages last."""
    return Transit(**{name: np.ascontiguousarray(getattr(part, name).T) for name in FIELDS})


def _gather(flat: Transit, shape: tuple[int, ...], stages: int, entry: Floats, spin: Floats) -> Throw:
    merged = Transit(**{name: getattr(flat, name).reshape(*shape, stages) for name in FIELDS})
    jammed: NDArray[np.bool_] = np.asarray(merged.jammed.any(axis=-1))
    if stages == 0:
        return Throw(stages=merged, exit_speed=entry.reshape(shape), spin=spin.reshape(shape), jammed=jammed)
    last = np.where(jammed, 0.0, merged.exit_speed[..., -1])
    spin = np.where(jammed, 0.0, merged.exit_spin[..., -1])
    return Throw(stages=merged, exit_speed=last, spin=spin, jammed=jammed)

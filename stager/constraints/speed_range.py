"""How fast a wheel may turn, and how fast a projectile may leave, by the table of limits alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stager.constraints.limit import ROUNDING, Kind, Limit, evaluate
from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.batch import batch_shape
from stager.physics.records import FIELDS, Grip, Throw, Transit

WIDEST = 200.0
"""Greatest surface speed that is looked at where no limit sets one [m/s]."""
FASTEST = 1e4
"""Greatest exit speed that is looked at [m/s]."""
COARSE, FINE, ZOOMS, HALVINGS = 33, 12, 3, 48
NONE: Mapping[str, float] = {}


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Greatest surface speed of a wheel [m/s], shape () or the launcher's batch, and the limit that sets it."""

    top: Floats
    ends_by: str


def range_of(
    launcher: Launcher, limit_values: LimitValues, index: int, limits: tuple[Limit, ...],
    margins: Mapping[str, float] = NONE,
) -> SpeedRange:  # fmt: skip
    """Return the range of surface speeds of stage `index`: from 0 up to where a limit of kind WHEEL breaks.

    limits : the table; those of kind WHEEL count. margins : least slack of each limit by name [-], 0 where not named.
    """
    stage = launcher.stage(index)
    alone = replace(launcher, stages=(stage,), template=stage)
    shape = batch_shape(alone.projectile, alone.contact, stage, alone.supply) if alone.supply else batch_shape(
        alone.projectile, alone.contact, stage
    )
    top, ends_by = np.full(shape, WIDEST), "range"
    for limit in limits:
        if limit.kind is not Kind.WHEEL:
            continue
        found = _first_broken(alone, limit_values, limit, np.full(shape, WIDEST), margins.get(limit.name, 0.0))
        if found.mean() < top.mean():
            ends_by = limit.name
        top = np.minimum(top, found)
    return SpeedRange(top, ends_by)


def _first_broken(launcher: Launcher, limit_values: LimitValues, limit: Limit, top: Floats, margin: float) -> Floats:
    """Greatest wheel speed up to which `limit` is kept [m/s], at most `top`."""
    low, high, count = np.zeros_like(top), top, COARSE
    for turn in range(ZOOMS + 1):
        share = np.linspace(0.0, 1.0, count).reshape(-1, *(1 for _ in top.shape))
        speeds = low + (high - low) * share
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=still(speeds[..., None]))
        result = evaluate(limit, point)
        if result is None:
            return top
        slack = np.broadcast_to(result.slack, speeds.shape) - margin + 0.5 * ROUNDING
        broken = slack < 0
        if turn == 0 and not broken.any():
            return top
        first = np.argmax(broken, axis=0)[None]
        before = np.maximum(first - 1, 0)
        kept = ~broken.any(axis=0)
        low = np.where(kept, high, np.take_along_axis(speeds, before, axis=0)[0])
        high = np.where(kept, high, np.take_along_axis(speeds, first, axis=0)[0])
        count = FINE
    under, over = (np.take_along_axis(slack, place, axis=0)[0] for place in (before, first))
    straight = (under > over) & (under >= 0)
    share = np.where(straight, under / np.where(straight, under - over, 1.0), 0.0)
    return np.asarray(np.where(kept, high, low + np.clip(share, 0.0, 1.0) * (high - low)))


def cap_of(
    launcher: Launcher, limit_values: LimitValues, limits: tuple[Limit, ...], margins: Mapping[str, float] = NONE
) -> Floats:
    """Return the exit speed up to which every limit on a throw is kept that looks at nothing but exit speed [m/s].

    Shape () or the launcher's batch. Such limits are told by a throw that strains and heats nothing.
    """
    shape = batch_shape(launcher.projectile, launcher.outlet, limit_values)
    low, high = np.zeros(shape), np.full(shape, FASTEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        throw = replace(still(np.zeros((*shape, 1))), exit_speed=middle)
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=throw)
        kept = np.ones(shape, bool)
        for limit in limits:
            if limit.kind is Kind.THROW and (result := evaluate(limit, point)) is not None:
                kept &= np.broadcast_to(result.slack, shape) >= margins.get(limit.name, 0.0)
        low, high = np.where(kept, middle, low), np.where(kept, high, middle)
    return low


def idle(count: int) -> Throw:
    """Return no throw at all, through `count` stages: limits on what is built can be judged on it."""
    return still(np.zeros(count))


def still(wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Throw:
    """Return no throw, but wheels set to `wheel_speed` [m/s], shape (..., stages), side B's to another where given."""
    none = np.zeros(np.shape(wheel_speed))
    values: dict[str, Any] = dict.fromkeys(FIELDS, none) | {
        "grip": np.full(none.shape, Grip.NOT_REACHED, np.int8),
        "wheel_speed_a": wheel_speed,
        "wheel_speed_b": wheel_speed if wheel_speed_b is None else wheel_speed_b,
    }
    nothing = np.zeros(none.shape[:-1])
    return Throw(stages=Transit(**values), exit_speed=nothing, spin=nothing, jammed=nothing > 0)

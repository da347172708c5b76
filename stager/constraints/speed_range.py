"""How fast a wheel may turn, and how fast a projectile may leave, from the table of limits."""

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

GREATEST_WHEEL_SPEED = 200.0
"""End of the speed range where no limit ends it [m/s]."""
GREATEST_EXIT_SPEED = 1e4
"""Exit speed above which no limit on it is searched for [m/s]."""
COARSE_POINTS = 33
"""Wheel speeds of the first grid over the whole range."""
FINE_POINTS = 12
"""Wheel speeds of each finer grid, between the last kept and the first broken one."""
REFINEMENTS = 3
"""Finer grids: they shorten the interval to 1/(32·11³) of the range."""
HALVINGS = 48
"""Halvings of the range of exit speeds, to 4e-11 m/s."""
NONE: Mapping[str, float] = {}
"""No margins: every limit may be active."""


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

    limits: the table of limits; margins: least slack of a limit by its name [-], 0 for the others.
    """
    stage = launcher.stage(index)
    single = replace(launcher, stages=(stage,), template=stage)
    shape = batch_shape(single.projectile, single.contact, stage, single.supply) if single.supply else batch_shape(
        single.projectile, single.contact, stage
    )
    end = np.full(shape, GREATEST_WHEEL_SPEED)
    top, ends_by = end, "range"
    for limit in limits:
        if limit.kind is not Kind.WHEEL:
            continue
        found = _speed_within(single, limit_values, limit, end, margins.get(limit.name, 0.0))
        if found.mean() < top.mean():
            ends_by = limit.name
        top = np.minimum(top, found)
    return SpeedRange(top, ends_by)


def _speed_within(launcher: Launcher, limit_values: LimitValues, limit: Limit, top: Floats, margin: float) -> Floats:
    """Return the wheel speed up to which `limit` has a slack of at least `margin` [-] [m/s], at most `top`."""
    low, high, count = np.zeros_like(top), top, COARSE_POINTS
    for turn in range(REFINEMENTS + 1):
        share = np.linspace(0.0, 1.0, count).reshape(-1, *(1 for _ in top.shape))
        speeds = low + (high - low) * share
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=no_throw(speeds[..., None]))
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
        count = FINE_POINTS
    slack_below, slack_above = (np.take_along_axis(slack, place, axis=0)[0] for place in (before, first))
    crosses = (slack_below > slack_above) & (slack_below >= 0)
    share = np.where(crosses, slack_below / np.where(crosses, slack_below - slack_above, 1.0), 0.0)
    return np.asarray(np.where(kept, high, low + np.clip(share, 0.0, 1.0) * (high - low)))


def cap_of(
    launcher: Launcher, limit_values: LimitValues, limits: tuple[Limit, ...], margins: Mapping[str, float] = NONE
) -> Floats:
    """Return the exit speed up to which the limits on exit speed and energy are satisfied [m/s].

    Shape () or the launcher's batch. All limits of kind THROW are evaluated for a throw without acceleration and heat.
    """
    shape = batch_shape(launcher.projectile, launcher.outlet, limit_values)
    low, high = np.zeros(shape), np.full(shape, GREATEST_EXIT_SPEED)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        throw = replace(no_throw(np.zeros((*shape, 1))), exit_speed=middle)
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=throw)
        kept = np.ones(shape, bool)
        for limit in limits:
            if limit.kind is Kind.THROW and (result := evaluate(limit, point)) is not None:
                kept &= np.broadcast_to(result.slack, shape) >= margins.get(limit.name, 0.0)
        low, high = np.where(kept, middle, low), np.where(kept, high, middle)
    return low


def no_throw(wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Throw:
    """Return a throw of zeros with wheels at `wheel_speed` [m/s], shape (..., stages); side B's at another where given.

    Limits of kind DESIGN, WHEEL and STEADY can be evaluated with it.
    """
    none = np.zeros(np.shape(wheel_speed))
    values: dict[str, Any] = dict.fromkeys(FIELDS, none) | {
        "grip": np.full(none.shape, Grip.NOT_REACHED, np.int8),
        "wheel_speed_a": wheel_speed,
        "wheel_speed_b": wheel_speed if wheel_speed_b is None else wheel_speed_b,
    }
    nothing = np.zeros(none.shape[:-1])
    return Throw(stages=Transit(**values), exit_speed=nothing, spin=nothing, jammed=nothing > 0)

"""How fast a stage's wheel may turn at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.constraints import OperatingPoint, evaluate, wheel_ceilings
from stager.constraints.building import Crush
from stager.constraints.wheels import TyreTurning
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.still import still
from stager.physics.batch import batch_shape

WIDEST = 200.0
STEPS = 400
BY_SPEED = (Crush(), TyreTurning())
"""Limits that only the speed of the stage's own wheel decides, and that a faster wheel breaks."""


@dataclass(frozen=True, slots=True)
class Span:
    """Greatest surface speed to look at [m/s], shape () or the launcher's batch, and what sets it."""

    top: Floats
    ends_by: str


def span(launcher: Launcher, limit_values: LimitValues, index: int) -> Span:
    """From 0 to the least of what drive, rim, tyre and limits allow; 200 m/s where none does."""
    ceilings = {**wheel_ceilings(launcher, limit_values, index), "range": WIDEST}
    least = np.asarray(np.min(np.broadcast_arrays(*ceilings.values()), axis=0), dtype=np.float64)
    for limit in BY_SPEED:
        ceilings[limit.name] = _ceiling(launcher, limit_values, index, limit, least)
    arrays = np.broadcast_arrays(*ceilings.values())
    least = np.min(arrays, axis=0)
    ends_by = list(ceilings)[int(np.argmin([array.mean() for array in arrays]))]
    return Span(np.asarray(least, dtype=np.float64), ends_by)


def _ceiling(launcher: Launcher, limit_values: LimitValues, index: int, limit: Crush | TyreTurning, top: Floats) -> Floats:
    """Wheel speed up to which `limit` is kept [m/s]; inf where it is not set or kept up to `top` [m/s]."""
    stage = launcher.stage(index)
    alone = replace(launcher, stages=(stage,), template=stage)
    top = np.broadcast_to(top, np.broadcast_shapes(np.shape(top), batch_shape(stage, launcher.contact)))
    speeds = np.linspace(0.0, 1.0, STEPS + 1).reshape(-1, *(1 for _ in top.shape)) * top
    verdict = evaluate(limit, OperatingPoint(launcher=alone, limit_values=limit_values, throw=still(speeds[..., None])))
    if verdict is None:
        return np.full(np.shape(top), np.inf)
    slack = np.broadcast_to(verdict.slack, speeds.shape)
    broken = (slack < 0).any(axis=0)
    first = np.argmax(slack < 0, axis=0)[None]
    before = np.maximum(first - 1, 0)
    low, high = (np.take_along_axis(slack, place, axis=0)[0] for place in (before, first))
    left, right = (np.take_along_axis(speeds, place, axis=0)[0] for place in (before, first))
    share = np.where(low > high, low / np.where(low > high, low - high, 1.0), 0.0)
    return np.asarray(np.where(broken, left + np.clip(share, 0.0, 1.0) * (right - left), np.inf))

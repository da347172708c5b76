"""How fast a stage's wheel may turn at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.hardware.wish import Allowances
from stager.physics.reach import motor_ceiling, reach_ceiling

WIDEST = 200.0


@dataclass(frozen=True, slots=True)
class Span:
    """Greatest surface speed to look at [m/s], shape () or the launcher's batch, and what sets it."""

    top: Floats
    ends_by: str


def span(launcher: Launcher, allowances: Allowances, index: int) -> Span:
    """From 0 to the least of what drive, motor and limits allow; 200 m/s where none does."""
    stage = launcher.stage(index)
    ceilings = {
        "wheel_speed": np.inf if allowances.wheel_speed is None else allowances.wheel_speed,
        "motor_speed": motor_ceiling(launcher, stage),
        "drive_reach": reach_ceiling(launcher, stage),
        "range": WIDEST,
    }
    arrays = np.broadcast_arrays(*ceilings.values())
    least = np.min(arrays, axis=0)
    names = list(ceilings)
    ends_by = names[int(np.argmin([array.mean() for array in arrays]))]
    return Span(np.asarray(least, dtype=np.float64), ends_by)

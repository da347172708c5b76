"""How fast a drive can turn its wheel."""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Number
from stager.hardware.launcher import Launcher
from stager.hardware.stage import Stage


def motor_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed at the motor's greatest speed [m/s]; inf where it has none."""
    drive = stage.drive
    if drive is None or drive.max_speed is None:
        return np.inf
    return drive.max_speed / drive.gear * stage.wheel.radius


def reach_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed at full throttle without load, Kv·(V − I₀·R) [m/s]; inf without drive or supply."""
    drive, supply = stage.drive, launcher.supply
    if drive is None or supply is None:
        return np.inf
    left = supply.voltage - drive.no_load_current * drive.resistance
    return np.maximum(left, 0.0) * drive.speed_constant / drive.gear * stage.wheel.radius

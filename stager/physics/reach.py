"""How fast a wheel may turn: motor, supply, hub, tyre, each by itself."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics import rotor, tyre
from stager.physics.drive.supply import settle
from stager.physics.drive.train import train_of


def motor_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed at the motor's greatest speed [m/s]; inf where it has none."""
    drive = stage.drive
    if drive is None or drive.max_speed is None:
        return np.inf
    return drive.max_speed / drive.gear * stage.wheel.radius


def reach_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed at full throttle [m/s] against windage and no-load loss, this stage alone on the supply.

    inf without drive or supply.
    """
    train = train_of([stage])
    if train is None or launcher.supply is None:
        return np.inf
    shape = np.broadcast_shapes(train.radius.shape, train.pull.shape, (*np.shape(launcher.supply.voltage), 1))
    return (settle(train, np.ones(shape), launcher.supply) * train.radius)[..., 0]


def burst_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed at which the hub bursts [m/s]; inf where its strength is not known."""
    return rotor.burst_speed(stage.wheel)


def tyre_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed above which the tyre does not stay on [m/s]; inf without one, or where its holds are not known."""
    return tyre.retention_speed(stage.wheel)

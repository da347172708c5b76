"""How fast a wheel may turn: motor, supply, hub, tyre, each by itself."""

from __future__ import annotations

from collections import OrderedDict
from typing import Any

import numpy as np

from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics import rotor, tyre
from stager.physics.drive.motor import train_of
from stager.physics.drive.supply import settle

REMEMBERED = 64
"""Parts whose reach is kept: a search asks for the same ones again and again."""
_known: OrderedDict[tuple[int, ...], tuple[tuple[Any, ...], Number]] = OrderedDict()


def motor_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Return the surface speed at the motor's greatest speed [m/s]; inf where it has none."""
    drive = stage.drive
    if drive is None or drive.max_speed is None:
        return np.inf
    return drive.max_speed / drive.gear * stage.wheel.radius


def reach_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Return the surface speed at full throttle [m/s] against windage and no-load loss, this stage alone on the supply.

    inf without drive or supply.
    """
    parts = stage.wheel, stage.drive, launcher.supply, stage.layout
    key = tuple(map(id, parts))
    found = _known.get(key)
    if found is None:
        # The parts are kept too, so that no other object comes to have their identity.
        found = _known[key] = parts, _reach(launcher, stage)
        while len(_known) > REMEMBERED:
            _known.popitem(last=False)
    return found[1]


def _reach(launcher: Launcher, stage: Stage) -> Number:
    train = train_of([stage])
    if train is None or launcher.supply is None:
        return np.inf
    shape = np.broadcast_shapes(train.radius.shape, train.pull.shape, (*np.shape(launcher.supply.voltage), 1))
    return (settle(train, np.ones(shape), launcher.supply) * train.radius)[..., 0]


def burst_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Return the surface speed at which the hub bursts [m/s]; inf where its strength is not known."""
    return rotor.burst_speed(stage.wheel)


def tyre_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Surface speed above which the tyre does not stay on [m/s]; inf without one, or where its holds are not known."""
    return tyre.retention_speed(stage.wheel)

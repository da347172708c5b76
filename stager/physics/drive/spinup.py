"""How long wheels take to come to their speeds, and what that asks of the supply."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats
from stager.model.drive import Supply
from stager.physics.air import Disc
from stager.physics.drive.motor import Train
from stager.physics.drive.supply import Holding, hold, peak_draw
from stager.physics.drive.transient import time_until

NEAR = 0.02
"""Share of its set speed that a wheel which has come up may lack [-]."""
LONGEST = 1e3
"""Time after which a wheel is said not to get there [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinUp:
    """time [s] from rest until every wheel lacks at most NEAR of its set speed, inf where one does not get there;
    current [A] and power [W]: the most the supply gives on the way (upper bounds)."""

    time: Floats
    current: Floats
    power: Floats


def spin_up(train: Train, holding: Holding, supply: Supply) -> SpinUp:
    """Spin all wheels up together from rest."""
    current, power = peak_draw(train, rushing(train, holding), supply)
    start = np.zeros(holding.angular_speed.shape)
    return SpinUp(time=time_to(train, holding, supply, start), current=np.asarray(current), power=np.asarray(power))


def spin_up_in_turn(train: Train, holding: Holding, supply: Supply) -> SpinUp:
    """One stage after the other, those before it held at their speeds."""
    time, current, power = np.zeros(()), *peak_in_turn(train, holding, supply)
    for column in range(train.size):
        alone = only(train, column)
        there = hold(alone, holding.angular_speed[..., [column]], supply)
        time = time + time_to(alone, there, supply, np.zeros(there.angular_speed.shape))
    return SpinUp(time=time, current=current, power=power)


def peak_in_turn(train: Train, holding: Holding, supply: Supply) -> tuple[Floats, Floats]:
    """Greatest current [A] and power [W] when stages spin up one after the other, the others held (upper bounds)."""
    draw = train.count * holding.current * holding.voltage
    throttle = np.broadcast_to(rushing(train, holding), draw.shape)
    current = power = np.zeros(draw.shape[:-1])
    for column in range(train.size):
        most, taken = peak_draw(only(train, column), throttle[..., [column]], supply)
        others = draw.sum(axis=-1) - draw[..., column]
        power = np.maximum(power, taken + others)
        current = np.maximum(current, most + others / holding.bus_voltage)
    return current, power


def rushing(train: Train, holding: Holding) -> Floats:
    """Throttle on the way up [-]: a governor's is full, others stay where they hold the set speed."""
    return np.where(train.governed, 1.0, np.minimum(holding.throttle, 1.0))


def time_to(train: Train, holding: Holding, supply: Supply, start: Floats, near: float = NEAR) -> Floats:
    """Time [s], shape (...), from speeds `start` [rad/s], shape (..., wheels), until every wheel lacks at most `near`
    [-] of its set speed; inf where one does not get there in LONGEST."""
    return time_until(train, holding, supply, start, near, LONGEST)


def only(train: Train, column: int) -> Train:
    """One column of a train."""

    def pick(values: Floats) -> Floats:
        return values[..., [column]]

    disc = train.disc
    return replace(
        train, radius=pick(train.radius), inertia=pick(train.inertia), pull=pick(train.pull),
        resistance=pick(train.resistance), idle_current=pick(train.idle_current),
        current_limit=pick(train.current_limit), governed=train.governed[[column]], count=pick(train.count),
        stage=(train.stage[column],), side=(train.side[column],),
        disc=Disc(pick(disc.laminar), pick(disc.turbulent), pick(disc.core), pick(disc.transition)),
    )  # fmt: skip

"""Spin-up time of the wheels, and its peak current and power."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats
from stager.model.stage import Supply
from stager.physics.air import Disc
from stager.physics.drive.motor import Drivetrain
from stager.physics.drive.supply import Holding, hold, peak_draw
from stager.physics.drive.transient import time_until

NEAR = 0.02
"""Share of its set speed that a wheel may lack at the end of spin-up [-]."""
LONGEST = 1e3
"""Time after which a wheel counts as never reaching its speed [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinUp:
    """Spin-up from rest.

    time: until every wheel lacks at most NEAR of its set speed [s]; inf where one never reaches it
    current [A], power [W]: upper bounds of what the supply gives
    """

    time: Floats
    current: Floats
    power: Floats


def spin_up(train: Drivetrain, holding: Holding, supply: Supply) -> SpinUp:
    """Return the spin-up of all wheels together from rest."""
    current, power = peak_draw(train, spin_up_throttle(train, holding), supply)
    start = np.zeros(holding.angular_speed.shape)
    return SpinUp(time=time_to(train, holding, supply, start), current=np.asarray(current), power=np.asarray(power))


def spin_up_in_turn(train: Drivetrain, holding: Holding, supply: Supply) -> SpinUp:
    """Return the spin-up of one stage after the other, with the earlier ones held at their speeds."""
    time, current, power = np.zeros(()), *peak_in_turn(train, holding, supply)
    for column in range(train.size):
        single = single_wheel(train, column)
        there = hold(single, holding.angular_speed[..., [column]], supply)
        time = time + time_to(single, there, supply, np.zeros(there.angular_speed.shape))
    return SpinUp(time=time, current=current, power=power)


def peak_in_turn(train: Drivetrain, holding: Holding, supply: Supply) -> tuple[Floats, Floats]:
    """Return upper bounds of current [A] and power [W] while one stage spins up and all others are held."""
    draw = train.count * holding.current * holding.voltage
    throttle = np.broadcast_to(spin_up_throttle(train, holding), draw.shape)
    current = power = np.zeros(draw.shape[:-1])
    for column in range(train.size):
        most, taken = peak_draw(single_wheel(train, column), throttle[..., [column]], supply)
        others = draw.sum(axis=-1) - draw[..., column]
        power = np.maximum(power, taken + others)
        current = np.maximum(current, most + others / holding.bus_voltage)
    return current, power


def spin_up_throttle(train: Drivetrain, holding: Holding) -> Floats:
    """Return the throttle during spin-up [-]: full for a governor, else that which holds the set speed."""
    return np.where(train.governed, 1.0, np.minimum(holding.throttle, 1.0))


def time_to(train: Drivetrain, holding: Holding, supply: Supply, start: Floats, near: float = NEAR) -> Floats:
    """Return the time from speeds `start` [rad/s], (..., wheels), until every wheel is near its set speed [s], (...).

    near: share of the set speed that it may lack [-]. inf where one does not get there in LONGEST.
    """
    return time_until(train, holding, supply, start, near, LONGEST)


def single_wheel(train: Drivetrain, column: int) -> Drivetrain:
    """Return one column of a drivetrain."""

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

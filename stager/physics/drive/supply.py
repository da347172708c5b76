"""Holding the wheels at their speeds on a common supply; speeds at given throttles; peak draw of the supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.stage import Supply
from stager.physics.drive.motor import Drivetrain

ROUNDS = 60
"""Most iterations of Newton's method and of the bus voltage [-]."""
CLOSE = 1e-13
"""Relative change at which they end [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """State of drives that hold the wheels at their speeds while nothing is thrown; wheels are the last axis.

    angular_speed: of the wheels [rad/s]
    current [A], voltage [V]: of each motor
    throttle: share of the bus voltage [-]; above 1 where the speed cannot be held
    bus_voltage [V], bus_current [A], power [W]: at the terminals of the supply, all motors together
    """

    angular_speed: Floats
    current: Floats
    voltage: Floats
    throttle: Floats
    bus_voltage: Floats
    bus_current: Floats
    power: Floats

    @property
    def reached(self) -> NDArray[np.bool_]:
        """Whether every wheel can be held at its speed."""
        return np.asarray((self.throttle <= 1.0).all(axis=-1))


def holding_current(train: Drivetrain, angular_speed: Floats) -> Floats:
    """Return the current that balances no-load loss and windage at `angular_speed` [rad/s] [A], (..., wheels)."""
    return train.idle_current + train.disc.moment(angular_speed) / train.pull


def hold(train: Drivetrain, angular_speed: Floats, supply: Supply) -> Holding:
    """Return the state of drives that hold the wheels at `angular_speed` [rad/s], shape (..., wheels).

    Controllers are lossless: at given speeds the motors take the power P together, and the bus voltage is
    V = (V₀ + √(V₀² − 4R_sP))/2. Where the supply cannot give P, the throttle is P / its greatest power.
    """
    current = holding_current(train, angular_speed)
    voltage = train.pull * angular_speed + train.resistance * current
    power = (train.count * current * voltage).sum(axis=-1)
    bus = loaded_voltage(supply, power)
    overload = np.asarray(4 * supply.resistance * power / supply.voltage**2)
    throttle = np.maximum(voltage / bus[..., None], np.where(overload > 1, overload, 0.0)[..., None])
    return Holding(
        angular_speed=angular_speed, current=current, voltage=voltage,
        throttle=np.maximum(throttle, np.where(current > train.current_limit, current / train.current_limit, 0.0)),
        bus_voltage=bus, bus_current=power / bus, power=power,
    )  # fmt: skip


def steady_speeds(train: Drivetrain, throttle: Floats, supply: Supply) -> Floats:
    """Return the steady angular speeds at `throttle` [-], each (..., wheels) [rad/s]: the inverse of `hold`.

    Newton's method from above for each wheel, where the balance of torques is concave and falling; fixed-point
    iteration for the bus voltage, on which the current of a settled motor hardly depends.
    """
    bus = np.broadcast_to(np.asarray(supply.voltage, dtype=np.float64), np.shape(throttle)[:-1])
    speed = np.zeros(np.shape(throttle))
    for _ in range(ROUNDS):
        speed = _settled(train, throttle * bus[..., None])
        current = np.clip((throttle * bus[..., None] - train.pull * speed) / train.resistance, 0, train.current_limit)
        drawn = (train.count * throttle * current).sum(axis=-1)
        fresh = np.maximum(supply.voltage - supply.resistance * drawn, 0.0)
        done = np.abs(fresh - bus).max(initial=0.0) <= CLOSE * np.max(supply.voltage)
        bus = fresh
        if done:
            break
    return speed


def _settled(train: Drivetrain, voltage: Floats) -> Floats:
    """Return the angular speed at motor `voltage` [V] at which torque and windage balance, at least 0 [rad/s]."""
    idle = np.maximum(voltage - train.resistance * train.idle_current, 0.0) / train.pull
    speed = idle
    for _ in range(ROUNDS):
        asked = (voltage - train.pull * speed) / train.resistance
        limited = asked > train.current_limit
        torque = train.pull * (np.where(limited, train.current_limit, asked) - train.idle_current)
        drag, slope = train.disc.moment(speed), train.disc.slope(speed)
        steepness = np.where(limited, 0.0, train.pull**2 / train.resistance) + slope
        change = np.where(speed > 0, (torque - drag) / np.where(steepness > 0, steepness, 1.0), 0.0)
        speed = np.clip(speed + change, 0.0, idle)
        if np.abs(change).max(initial=0.0) <= CLOSE * max(np.max(idle, initial=0.0), 1e-300):
            break
    return speed


def loaded_voltage(supply: Supply, power: Number) -> Floats:
    """Return the terminal voltage [V] of a supply at `power` [W]; half its open voltage where that is too much."""
    left = supply.voltage**2 - 4 * supply.resistance * power
    return np.asarray((supply.voltage + np.sqrt(np.maximum(left, 0.0))) / 2)


DRAW_ROUNDS = 40
"""Most iterations of Newton's method for the bus voltage [-]."""


def peak_draw(train: Drivetrain, throttle: Floats, supply: Supply) -> tuple[Number, Number]:
    """Return an upper bound of current [A] and power [W] from the supply while all wheels spin up at `throttle` [-].

    Every motor draws its greatest power at once, θV·min(I_max, θV/R): where its current leaves the controller's limit,
    or at standstill without a limit. Equal wheels reach the bound.
    """
    source = np.asarray(supply.voltage, dtype=np.float64)
    bus = source
    for _ in range(DRAW_ROUNDS):
        volts = throttle * bus[..., None]
        drawn = (train.count * throttle * np.minimum(train.current_limit, volts / train.resistance)).sum(axis=-1)
        free = volts / train.resistance < train.current_limit
        slope = (train.count * np.where(free, throttle**2 / train.resistance, 0.0)).sum(axis=-1)
        change = (bus - source + supply.resistance * drawn) / (1 + supply.resistance * slope)
        bus = np.maximum(bus - change, 0.0)
        if np.abs(change).max(initial=0.0) <= 1e-12 * source.max():
            break
    volts = throttle * bus[..., None]
    drawn = (train.count * throttle * np.minimum(train.current_limit, volts / train.resistance)).sum(axis=-1)
    return drawn, drawn * bus

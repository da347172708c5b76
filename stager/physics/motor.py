"""A motor as its DC equivalent, all driven wheels of a launcher, and their common supply.

speed_constant Kv [rad/s/V], torque constant Kt = 1/Kv [N m/A]. Shapes broadcast.
The supply gives the currents that hold the wheels at their speeds, the speeds at given throttles, and the peak draw.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Drive, Stage, Supply
from stager.physics.air import SEA_LEVEL, Air, Disc, disc
from stager.physics.wheel import driven_inertia

COPPER_COEFFICIENT = 3.93e-3
"""Temperature coefficient of copper's resistance at 20 degC [1/K]; IEC 60028."""
REFERENCE = 293.15
"""20 degC [K]: the temperature that winding resistances are given at."""


def greatest_power(drive: Drive, voltage: Number) -> Number:
    """Return the greatest mechanical power V²/(4R) [W] of an ideal motor at `voltage` [V], at half its speed."""
    return voltage**2 / (4 * drive.resistance)


def warm_factor(temperature: Number) -> Number:
    """Return the resistance of copper at `temperature` [K] / that at 20 degC [-]; IEC 60028, constant mass."""
    return 1 + COPPER_COEFFICIENT * (temperature - REFERENCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drivetrain:
    """All driven wheels of a launcher; every array broadcasts to (..., wheels).

    radius: R [m]
    inertia: J, with the rotor's share [kg m^2]
    pull: torque on the wheel per motor current [N m/A], also motor voltage per wheel speed [V s/rad]
    resistance: of the windings [ohm]
    idle_current: I₀ [A]; current_limit: of the controllers [A]
    governed: whether a controller holds the set speed
    count: equal wheels that a column stands for [-]
    stage, side: of each column; side 0: A, 1: B
    disc: windage factors
    """

    radius: Floats
    inertia: Floats
    pull: Floats
    resistance: Floats
    idle_current: Floats
    current_limit: Floats
    governed: NDArray[np.bool_]
    count: Floats
    stage: tuple[int, ...]
    side: tuple[int, ...]
    disc: Disc

    @property
    def size(self) -> int:
        """Return the number of columns."""
        return len(self.stage)

    def columns(self, side_a: Floats, side_b: Floats) -> Floats:
        """Return the values of sides A and B, each (..., stages), as columns (..., wheels)."""
        chosen = [(side_b if side else side_a)[..., stage] for stage, side in zip(self.stage, self.side, strict=True)]
        return np.stack(np.broadcast_arrays(*chosen), axis=-1)


def build_drivetrain(
    launcher: Launcher, stages: int, *, split: bool = False, air: Air = SEA_LEVEL
) -> Drivetrain | None:
    """Return the driven wheels of the first `stages` stages; None where one of them has no drive.

    split: the two wheels of a pair get columns of their own, for two speeds. The last REMEMBERED results are kept.
    """
    key = (id(launcher), stages, split, id(air))
    known = _known.get(key)
    if known is None or known[0] is not launcher or known[1] is not air:
        known = launcher, air, drivetrain_of([launcher.stage(index) for index in range(stages)], split=split, air=air)
        _known[key] = known
        if len(_known) > REMEMBERED:
            _known.popitem(last=False)
    return known[2]


REMEMBERED = 16
"""Launchers whose drivetrains are kept [-]."""
_known: OrderedDict[tuple[int, int, bool, int], tuple[Launcher, Air, Drivetrain | None]] = OrderedDict()


def drivetrain_of(stages: Sequence[Stage], *, split: bool = False, air: Air = SEA_LEVEL) -> Drivetrain | None:
    """Return the driven wheels of `stages`; see `build_drivetrain`."""
    columns: list[tuple[int, int, float]] = []
    for index, stage in enumerate(stages):
        driven = stage.layout.driven_wheels
        if split and driven == 2:
            columns += [(index, 0, 1.0), (index, 1, 1.0)]
        else:
            columns.append((index, 0, float(driven)))
    owners = [stages[index] for index, _, _ in columns]
    drives = [stage.drive for stage in owners if stage.drive is not None]
    if len(drives) < len(owners) or not owners:
        return None

    def by_drive(value: Callable[[Drive], Number]) -> Floats:
        return _row([value(drive) for drive in drives])

    def by_stage(value: Callable[[Stage], Number]) -> Floats:
        return _row([value(stage) for stage in owners])

    return Drivetrain(
        radius=by_stage(lambda stage: stage.wheel.radius),
        inertia=by_stage(driven_inertia),
        pull=by_drive(lambda drive: drive.gear * drive.torque_constant),
        resistance=by_drive(lambda drive: drive.resistance),
        idle_current=by_drive(lambda drive: drive.no_load_current),
        current_limit=by_drive(lambda drive: drive.current_limit),
        governed=np.array([drive.governed for drive in drives]),
        count=np.array([count for _, _, count in columns]),
        stage=tuple(index for index, _, _ in columns),
        side=tuple(side for _, side, _ in columns),
        disc=disc(by_stage(lambda stage: stage.wheel.radius), air),
    )


def _row(values: list[Number]) -> Floats:
    return np.stack(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)), axis=-1)


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
    bus_voltage [V], power [W]: at the terminals of the supply, all motors together
    """

    angular_speed: Floats
    current: Floats
    voltage: Floats
    throttle: Floats
    bus_voltage: Floats
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
        bus_voltage=bus, power=power,
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


def recovery_draw(train: Drivetrain, holding: Holding, speed: Floats, supply: Supply) -> tuple[Floats, Floats]:
    """Return the current of each motor [A] and the bus voltage [V] as wheels at `speed` [rad/s] begin to recover.

    A governor gives full throttle to a wheel below its speed, holds one at it and gives nothing above; other throttles
    are those that hold the set speeds. Bisection between half the open voltage, where the supply gives most, and all of
    it.
    """
    target = holding.angular_speed
    slow, fast = (1 - RECOVERED) * target, (1 + RECOVERED) * target
    governed = np.where(speed < slow, 1.0, np.where(speed > fast, 0.0, holding.throttle))
    throttle = np.minimum(np.where(train.governed, governed, holding.throttle), 1.0)
    emf, source = train.pull * speed, np.asarray(supply.voltage, dtype=np.float64)

    def currents(bus: Floats) -> Floats:
        return np.asarray(np.clip((throttle * bus[..., None] - emf) / train.resistance, 0.0, train.current_limit))

    high = np.broadcast_to(source, np.shape(speed)[:-1]).copy()
    low = high / 2
    for _ in range(ROUNDS):
        bus = (low + high) / 2
        current = currents(bus)
        power = (train.count * current * (emf + train.resistance * current)).sum(axis=-1)
        over = bus - source + supply.resistance * power / bus > 0
        low, high = np.where(over, low, bus), np.where(over, bus, high)
    return currents(high), high


RECOVERED = 1e-6
"""Share of its set speed within which a governor holds a wheel [-]."""
DRAW_ROUNDS = 40
"""Most iterations of Newton's method for the bus voltage [-]."""


def peak_draw(train: Drivetrain, throttle: Floats, supply: Supply) -> tuple[Number, Number]:
    """Return an upper bound of current [A] and power [W] from the supply while all wheels spin up at `throttle` [-].

    Every motor draws its greatest power at once, θV·min(I_max, θV/R): where its current leaves the controller's limit,
    or at standstill without a limit. Equal wheels reach the bound on the current. That on the power is of the currents
    up to it.
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
    return drawn, power_up_to(supply, drawn)


def power_up_to(supply: Supply, current: Number) -> Floats:
    """Return the greatest power [W] that a supply gives at currents up to `current` [A].

    I(V₀ − R_sI) rises up to half of the short-circuit current: more current gives less power.
    """
    with np.errstate(divide="ignore"):
        half = np.asarray(supply.voltage, dtype=np.float64) / (2 * np.asarray(supply.resistance, dtype=np.float64))
    most = np.minimum(current, half)
    return np.asarray(most * (supply.voltage - supply.resistance * most))

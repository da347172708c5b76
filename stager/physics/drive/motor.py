"""A motor as its DC equivalent, and all driven wheels of a launcher.

speed_constant Kv [rad/s/V], torque constant Kt = 1/Kv [N m/A]. Motor speeds are before the gear. Shapes broadcast.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.stage import Drive
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.air import SEA_LEVEL, Air, Disc, disc
from stager.physics.rotor import driven_inertia

COPPER_COEFFICIENT = 3.93e-3
"""Temperature coefficient of copper's resistance at 20 degC [1/K]; IEC 60028."""
REFERENCE = 293.15
"""20 degC [K]: the temperature that winding resistances are given at."""


def back_emf(drive: Drive, motor_speed: Number) -> Number:
    """Return the back-EMF ω/Kv [V] at `motor_speed` [rad/s]."""
    return motor_speed / drive.speed_constant


def motor_current(drive: Drive, voltage: Number, motor_speed: Number) -> Floats:
    """Return the current (V − ω/Kv)/R [A] at motor `voltage` [V], between 0 and the controller's limit."""
    asked = (voltage - back_emf(drive, motor_speed)) / drive.resistance
    return np.asarray(np.clip(asked, 0.0, drive.current_limit))


def motor_torque(drive: Drive, current: Number) -> Number:
    """Return the torque at the shaft, Kt·(I − I₀) [N m], at `current` [A]; I₀ accounts for bearings and iron."""
    return drive.torque_constant * (current - drive.no_load_current)


def no_load_speed(drive: Drive, voltage: Number) -> Floats:
    """Return the no-load speed Kv·(V − I₀R) [rad/s] at motor `voltage` [V]; 0 where V < I₀R."""
    return np.maximum(voltage - drive.no_load_current * drive.resistance, 0.0) * drive.speed_constant


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

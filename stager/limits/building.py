"""Limits on what is built."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats, Number
from stager.hardware.launcher import Launcher
from stager.hardware.stage import Stage
from stager.limits.design import Design
from stager.physics.layout import length
from stager.physics.reach import motor_ceiling, reach_ceiling


@dataclass(frozen=True, slots=True)
class Stages:
    """Number of stages."""

    name: str = "stages"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[-]."""
        return float(design.count)

    def allowed(self, design: Design) -> Number | None:
        """[-]."""
        return float(design.allowances.stages)


@dataclass(frozen=True, slots=True)
class Length:
    """Length along the barrel."""

    name: str = "length"
    unit: str = "m"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m]."""
        return length(design.launcher, design.count)

    def allowed(self, design: Design) -> Number | None:
        """[m]."""
        return design.allowances.length


@dataclass(frozen=True, slots=True)
class Mass:
    """Mass of all stages."""

    name: str = "mass"
    unit: str = "kg"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[kg]; None where a stage's is not known."""
        return total(design, "mass")

    def allowed(self, design: Design) -> Number | None:
        """[kg]."""
        return design.allowances.mass


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of all stages, in the configuration's currency."""

    name: str = "cost"
    unit: str = ""
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """None where a stage's is not known."""
        return total(design, "cost")

    def allowed(self, design: Design) -> Number | None:
        """As `used`."""
        return design.allowances.cost


@dataclass(frozen=True, slots=True)
class WheelSpeed:
    """The fastest wheel's surface speed, by the user's limit."""

    name: str = "wheel_speed"
    unit: str = "m/s"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m/s]."""
        return np.asarray(fastest(design).max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """[m/s]."""
        return design.allowances.wheel_speed


@dataclass(frozen=True, slots=True)
class MotorSpeed:
    """Wheel speed as a share of what the motor may turn, over the stages."""

    name: str = "motor_speed"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Greatest share [-]."""
        return _share(design, motor_ceiling)

    def allowed(self, design: Design) -> Number | None:
        """1 where any motor has a greatest speed."""
        return 1.0 if np.isfinite(_ceilings(design, motor_ceiling)).any() else None


@dataclass(frozen=True, slots=True)
class DriveReach:
    """Wheel speed as a share of what supply and motor reach without load, over the stages."""

    name: str = "drive_reach"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Greatest share [-]."""
        return _share(design, reach_ceiling)

    def allowed(self, design: Design) -> Number | None:
        """1 where any stage has drive and supply."""
        return 1.0 if np.isfinite(_ceilings(design, reach_ceiling)).any() else None


Ceiling = Callable[[Launcher, Stage], Number]


def total(design: Design, name: str) -> Number | None:
    """Sum of a field of all stages, None where one lacks it."""
    values = [getattr(design.launcher.stage(k), name) for k in range(design.count)]
    return None if any(value is None for value in values) else sum(values, start=0.0)


def fastest(design: Design) -> Floats:
    """Speed of the faster wheel of each stage [m/s], shape (..., stages)."""
    return np.maximum(design.throw.stages.wheel_speed_a, design.throw.stages.wheel_speed_b)


def _ceilings(design: Design, ceiling: Ceiling) -> Floats:
    found = [ceiling(design.launcher, design.launcher.stage(k)) for k in range(design.count)]
    return np.stack(np.broadcast_arrays(*found), axis=-1) if found else np.full(0, np.inf)


def _share(design: Design, ceiling: Ceiling) -> Floats:
    return np.asarray((fastest(design) / _ceilings(design, ceiling)).max(axis=-1, initial=0.0))

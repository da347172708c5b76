"""The table of limits. To add a limit, write its `Limit` in a module of this package and add it to LIMITS.

limit.py      what a limit is and is evaluated at, an operating point; how to find out an unknown input
design.py     number, length, mass and cost of the stages, crush; exit speed and energy, acceleration, slip heat, grip
              margin of a throw
wheels.py     wheel speed against motor, supply, hub and tyre; how fast a wheel may turn within all limits
drives.py     throttle, power, current, winding temperature, loss at a rate; the duty of an operating point for reports
recommend.py  the recommended wheel speed of one stage
"""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from stager.constraints.design import (
    ACCELERATION,
    COST,
    CRUSH,
    ENERGY_PER_AREA,
    EXIT_ENERGY,
    EXIT_SPEED,
    GRIP_MARGIN,
    LENGTH,
    MASS,
    SLIP_HEAT,
    STAGES,
    TOY,
)
from stager.constraints.drives import (
    AVERAGE_POWER,
    PEAK_POWER,
    SETTLED_LOSS,
    SUPPLY_CURRENT,
    THROTTLE,
    VOLTAGE,
    WINDING_TEMPERATURE,
)
from stager.constraints.later_throws import LATER_ENERGY
from stager.constraints.limit import (
    ROUNDING,
    Kind,
    Limit,
    LimitResult,
    NotJudged,
    OperatingPoint,
    evaluate,
    slacks,
    unjudged,
)
from stager.constraints.wheels import (
    BURST,
    DRIVE_REACH,
    MOTOR_SPEED,
    NONE,
    RIM_SAFETY,
    TYRE_RETENTION,
    TYRE_TURNING,
    WHEEL_SPEED,
    SpeedRange,
    cap_of,
    no_throw,
    range_of,
)
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import Goal, LimitValues
from stager.physics.flight import speed_before_outlet

GEOMETRY = (STAGES, LENGTH, MASS, COST)
"""Limits on the parts and their number alone."""
LIMITS = (
    EXIT_ENERGY,
    EXIT_SPEED,
    ENERGY_PER_AREA,
    TOY,
    ACCELERATION,
    CRUSH,
    SLIP_HEAT,
    GRIP_MARGIN,
    *GEOMETRY,
    WHEEL_SPEED,
    MOTOR_SPEED,
    DRIVE_REACH,
    BURST,
    TYRE_RETENTION,
    RIM_SAFETY,
    TYRE_TURNING,
    THROTTLE,
    VOLTAGE,
    PEAK_POWER,
    SUPPLY_CURRENT,
    AVERAGE_POWER,
    WINDING_TEMPERATURE,
    SETTLED_LOSS,
    LATER_ENERGY,
)
"""All limits, in the order of screens and documents."""


def evaluate_limits(point: OperatingPoint, *, remedies: bool = False) -> list[LimitResult]:
    """Evaluate all limits that are set and can be judged, in the order of LIMITS.

    Those of `not_judged` are left out. With batch axes, limits with unknown inputs are evaluated from the known ones.
    remedies: add the one change that would help most, for an operating point without batch axes.
    """
    found = [result for limit in LIMITS if (result := evaluate(limit, point, remedies=remedies)) is not None]
    if point.batched:
        return found
    left_out = {one.name for one in not_judged(point)}
    return [result for result in found if result.name not in left_out]


def not_judged(point: OperatingPoint) -> list[NotJudged]:
    """Return the limits that apply and cannot be judged at a point without batch axes, in the order of LIMITS."""
    return [one for limit in LIMITS if (one := unjudged(limit, point)) is not None] if point.count else []


def speed_range(
    launcher: Launcher, limit_values: LimitValues, index: int, margins: Mapping[str, float] = NONE
) -> SpeedRange:
    """Return how fast the wheel of stage `index` may turn within the limits of kind WHEEL.

    margins: least slack of a limit by its name [-]; 0 for the others.
    """
    key = launcher, limit_values, index, LIMITS, tuple(sorted(margins.items()))
    try:
        return _speed_range(*key)
    except TypeError:  # Launchers with arrays have no hash.
        return range_of(launcher, limit_values, index, LIMITS, margins)


def exit_cap(launcher: Launcher, limit_values: LimitValues, margins: Mapping[str, float] = NONE) -> Floats:
    """Return the greatest exit speed within the limits on exit speed and energy [m/s], shape () or the batch."""
    try:
        return _exit_cap(launcher, limit_values, LIMITS, tuple(sorted(margins.items())))
    except TypeError:  # Launchers with arrays have no hash.
        return cap_of(launcher, limit_values, LIMITS, margins)


def asked_speed(launcher: Launcher, goal: Goal, short: float = 0.0) -> Number | None:
    """Return the exit speed behind the last wheel with which the outlet is left at the goal's [m/s].

    short: share that the speed behind the outlet may lack [-]. Shape () or the batch; None where the goal is the
    greatest exit speed.
    """
    return None if goal.asked is None else speed_before_outlet(launcher, goal.asked * (1 - short))


@lru_cache(maxsize=256)
def _speed_range(
    launcher: Launcher, limit_values: LimitValues, index: int, limits: tuple[Limit, ...],
    margins: tuple[tuple[str, float], ...],
) -> SpeedRange:  # fmt: skip
    return range_of(launcher, limit_values, index, limits, dict(margins))


@lru_cache(maxsize=256)
def _exit_cap(
    launcher: Launcher, limit_values: LimitValues, limits: tuple[Limit, ...], margins: tuple[tuple[str, float], ...]
) -> Floats:
    return cap_of(launcher, limit_values, limits, dict(margins))


def broken_by(
    launcher: Launcher, limit_values: LimitValues, count: int, margins: Mapping[str, float] = NONE
) -> list[str]:
    """Return the names of the limits of kind DESIGN that `count` stages break; margins as in `speed_range`."""
    point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=no_throw(np.zeros(count)))
    found = (evaluate(limit, point) for limit in LIMITS if limit.kind is Kind.DESIGN)
    return [
        result.name
        for result in found
        if result is not None and float(np.max(result.slack)) < margins.get(result.name, 0.0) - ROUNDING
    ]


__all__ = [
    "GEOMETRY", "LIMITS", "Kind", "Limit", "LimitResult", "NotJudged", "OperatingPoint", "SpeedRange",
    "asked_speed", "broken_by", "evaluate", "evaluate_limits", "exit_cap", "no_throw", "not_judged", "slacks",
    "speed_range", "unjudged",
]  # fmt: skip

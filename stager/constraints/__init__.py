"""The table of limits. To add one: write its object, add it to LIMITS."""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from stager.constraints.building import Cost, Crush, Length, Mass, Stages
from stager.constraints.driving import (
    AveragePower,
    PeakPower,
    SettledLoss,
    SupplyCurrent,
    Throttle,
    Voltage,
    WindingTemperature,
)
from stager.constraints.limit import ROUNDING, Kind, Limit, LimitResult, NotJudged, evaluate
from stager.constraints.missing import unjudged
from stager.constraints.operating_point import OperatingPoint
from stager.constraints.speed_range import NONE, SpeedRange, cap_of, idle, range_of, still
from stager.constraints.throwing import Acceleration, EnergyPerArea, ExitEnergy, ExitSpeed, GripMargin, SlipHeat, Toy
from stager.constraints.wheels import SHARES, RimSafety, TyreTurning, WheelSpeed, wheel_ceilings
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues

GEOMETRY: tuple[Limit, ...] = (Stages(), Length(), Mass(), Cost())
"""Limits on what is built, whatever is thrown."""
LIMITS: tuple[Limit, ...] = (
    ExitEnergy(),
    ExitSpeed(),
    EnergyPerArea(),
    Toy(),
    Acceleration(),
    Crush(),
    SlipHeat(),
    GripMargin(),
    *GEOMETRY,
    WheelSpeed(),
    *SHARES,
    RimSafety(),
    TyreTurning(),
    Throttle(),
    Voltage(),
    PeakPower(),
    SupplyCurrent(),
    AveragePower(),
    WindingTemperature(),
    SettledLoss(),
)
COMPUTED = frozenset(limit.name for limit in LIMITS)


def evaluate_limits(point: OperatingPoint, *, remedies: bool = False) -> list[LimitResult]:
    """Evaluate all limits that are set and can be judged, in the order of LIMITS.

    Those of `not_judged` are left out; with batch axes, where that is not known, what is known is evaluated.
    remedies: also the one change that would help most with each, for an operating point without batch axes.
    """
    found = [verdict for limit in LIMITS if (verdict := evaluate(limit, point, remedies=remedies)) is not None]
    if point.batched:
        return found
    left_out = {one.name for one in not_judged(point)}
    return [verdict for verdict in found if verdict.name not in left_out]


def not_judged(point: OperatingPoint) -> list[NotJudged]:
    """Return the limits that are set or apply and that cannot be judged, in the order of LIMITS; without batch axes."""
    return [one for limit in LIMITS if (one := unjudged(limit, point)) is not None] if point.count else []


def speed_range(
    launcher: Launcher, limit_values: LimitValues, index: int, margins: Mapping[str, float] = NONE
) -> SpeedRange:
    """Return how fast the wheel of stage `index` may turn within the limits of kind WHEEL.

    margins: least slack of each limit by name [-], 0 where not named.
    """
    key = launcher, limit_values, index, LIMITS, tuple(sorted(margins.items()))
    try:
        return _speed_range(*key)
    except TypeError:  # Launchers with arrays have no hash.
        return range_of(launcher, limit_values, index, LIMITS, margins)


def exit_cap(launcher: Launcher, limit_values: LimitValues, margins: Mapping[str, float] = NONE) -> Floats:
    """Return the exit speed that the limits on exit speed and energy allow [m/s], shape () or the launcher's batch."""
    try:
        return _exit_cap(launcher, limit_values, LIMITS, tuple(sorted(margins.items())))
    except TypeError:  # Launchers with arrays have no hash.
        return cap_of(launcher, limit_values, LIMITS, margins)


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
    """Return the names of the limits of kind DESIGN that so many stages break."""
    point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=idle(count))
    found = (evaluate(limit, point) for limit in LIMITS if limit.kind is Kind.DESIGN)
    return [
        result.name
        for result in found
        if result is not None and float(np.max(result.slack)) < margins.get(result.name, 0.0) - ROUNDING
    ]


__all__ = [
    "COMPUTED", "GEOMETRY", "LIMITS", "Kind", "Limit", "LimitResult", "NotJudged", "OperatingPoint", "SpeedRange",
    "broken_by", "evaluate", "evaluate_limits", "exit_cap", "idle", "not_judged", "speed_range", "still",
    "wheel_ceilings",
]  # fmt: skip

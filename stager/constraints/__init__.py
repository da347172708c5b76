"""The table of limits. To add one: write its object, add it to LIMITS."""

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
from stager.constraints.limit import Kind, Limit, LimitResult, NotJudged, evaluate
from stager.constraints.missing import not_judged as _unjudged
from stager.constraints.operating_point import OperatingPoint
from stager.constraints.throwing import Acceleration, EnergyPerArea, ExitEnergy, ExitSpeed, GripMargin, SlipHeat, Toy
from stager.constraints.wheels import SHARES, RimSafety, TyreTurning, WheelSpeed, wheel_ceilings

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
    """Verdicts of all limits that are set, in the order of LIMITS.

    remedies: also the one change that would help most with each, for an operating point without batch axes.
    """
    found = (evaluate(limit, point, remedies=remedies) for limit in LIMITS)
    return [verdict for verdict in found if verdict is not None]


def not_judged(point: OperatingPoint) -> list[NotJudged]:
    """Limits that are set but that `point` does not tell enough about, without batch axes."""
    return _unjudged(point, LIMITS) if point.count else []


__all__ = [
    "COMPUTED", "GEOMETRY", "LIMITS", "Kind", "Limit", "LimitResult", "NotJudged", "OperatingPoint", "evaluate",
    "evaluate_limits", "not_judged", "wheel_ceilings",
]  # fmt: skip

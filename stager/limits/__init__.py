"""One small object a limit. To add one: write its object, add it to LIMITS."""

from stager.limits.building import Cost, Crush, Length, Mass, Stages
from stager.limits.design import Design
from stager.limits.driving import (
    AveragePower,
    PeakPower,
    SettledLoss,
    SupplyCurrent,
    Throttle,
    Voltage,
    WindingTemperature,
)
from stager.limits.limit import Limit, Verdict, judge
from stager.limits.throwing import Acceleration, EnergyPerArea, ExitEnergy, ExitSpeed, GripMargin, SlipHeat
from stager.limits.wheels import SHARES, RimSafety, TyreTurning, WheelSpeed, wheel_ceilings

GEOMETRY: tuple[Limit, ...] = (Stages(), Length(), Mass(), Cost())
"""Limits on what is built, whatever is thrown."""
LIMITS: tuple[Limit, ...] = (
    ExitEnergy(),
    ExitSpeed(),
    EnergyPerArea(),
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


def verdicts(design: Design, *, remedies: bool = False) -> list[Verdict]:
    """Verdicts of all limits that are set, in the order of LIMITS.

    remedies: also the one change that would help most with each, for a design without batch axes.
    """
    found = (judge(limit, design, remedies=remedies) for limit in LIMITS)
    return [verdict for verdict in found if verdict is not None]


__all__ = ["COMPUTED", "GEOMETRY", "LIMITS", "Design", "Limit", "Verdict", "judge", "verdicts", "wheel_ceilings"]

"""One small object a limit. To add one: write its object, add it to LIMITS."""

from stager.constraints.building import Cost, Crush, Length, Mass, Stages
from stager.constraints.design import Design
from stager.constraints.driving import (
    AveragePower,
    PeakPower,
    SettledLoss,
    SupplyCurrent,
    Throttle,
    Voltage,
    WindingTemperature,
)
from stager.constraints.limit import Limit, Unjudged, Verdict, judge
from stager.constraints.missing import unjudged as _unjudged
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


def verdicts(design: Design, *, remedies: bool = False) -> list[Verdict]:
    """Verdicts of all limits that are set, in the order of LIMITS.

    remedies: also the one change that would help most with each, for a design without batch axes.
    """
    found = (judge(limit, design, remedies=remedies) for limit in LIMITS)
    return [verdict for verdict in found if verdict is not None]


def unjudged(design: Design) -> list[Unjudged]:
    """Limits that are set but that `design` does not tell enough about, without batch axes."""
    return _unjudged(design, LIMITS) if design.count else []


__all__ = [
    "COMPUTED", "GEOMETRY", "LIMITS", "Design", "Limit", "Unjudged", "Verdict", "judge", "unjudged", "verdicts",
    "wheel_ceilings",
]  # fmt: skip

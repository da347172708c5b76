"""One small object a limit. To add one: write its object, add it to LIMITS."""

from stager.limits.building import Cost, DriveReach, Length, Mass, MotorSpeed, Stages, WheelSpeed
from stager.limits.design import Design
from stager.limits.limit import Limit, Verdict, judge
from stager.limits.throwing import Acceleration, EnergyPerArea, ExitEnergy, ExitSpeed, GripMargin, SlipHeat

GEOMETRY: tuple[Limit, ...] = (Stages(), Length(), Mass(), Cost())
"""Limits on what is built, whatever is thrown."""
LIMITS: tuple[Limit, ...] = (
    ExitEnergy(),
    ExitSpeed(),
    EnergyPerArea(),
    Acceleration(),
    SlipHeat(),
    GripMargin(),
    *GEOMETRY,
    WheelSpeed(),
    MotorSpeed(),
    DriveReach(),
)
COMPUTED = frozenset(limit.name for limit in LIMITS)


def verdicts(design: Design) -> list[Verdict]:
    """Verdicts of all limits that are set, in the order of LIMITS."""
    return [verdict for limit in LIMITS if (verdict := judge(limit, design)) is not None]


__all__ = ["COMPUTED", "GEOMETRY", "LIMITS", "Design", "Limit", "Verdict", "judge", "verdicts"]

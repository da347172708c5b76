"""Limits that cannot be judged, what is missing for it, and how to find that out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.constraints.limit import Limit, NotJudged, evaluate
from stager.constraints.operating_point import OperatingPoint
from stager.model.stage import Stage

FIND_OUT = {
    "projectile.contact_area": "press the projectile on carbon paper and measure the mark",
    "projectile.thickness": "measure it across the flat side",
    "stage.mass": "weigh a stage",
    "stage.cost": "add up its parts",
    "stage.drive": "describe the motor: speed constant and resistance stand on its data sheet",
    "stage.drive.heat": "take heat capacities and resistances from the motor's data sheet, or warm it up and time it",
    "stage.drive.no_load_current": "let the motor run free and read its current",
    "stage.wheel.material": "name what the hub is made of",
    "stage.wheel.bore": "measure the hole for the shaft, 0 mm for a wheel without one",
    "stage.wheel.modulus": "name what the hub is made of, or take Young's modulus from its data sheet",
    "stage.wheel.yield_strength": "take it from the material's data sheet",
    "stage.wheel.tensile_strength": "take it from the material's data sheet",
    "stage.wheel.width": "measure it along the axis",
    "stage.wheel.tyre.bond_strength": "take it from the adhesive's data sheet, or pull a tread off with a spring scale",
    "stage.wheel.tyre.lip_strength": "press a lip away with a known force: force by the area of the seat",
    "stage.wheel.tyre.hub_friction": "turn the tyre on its hub with a spring scale: pull by pressing force",
    "stage.wheel.tyre.tensile_strength": "name the rubber, or take it from its data sheet",
    "supply": "describe it: voltage, and resistance of battery and leads",
    "feed.rate": "say how many throws a second are fed",
    "a grip limit within the range": "a faster wheel, or more of its range",
}
"""How to find out what is missing, by key."""
UNNAMED = "a grip limit within the range"


def unjudged(limit: Limit, point: OperatingPoint) -> NotJudged | None:
    """Return `limit` as not judged at `point` without batch axes; None where it is not set, broken, or known."""
    bound = limit.bound(point)
    if bound is None:
        return None
    verdict, missing = evaluate(limit, point), limit.missing(point)
    if verdict is not None and (missing is None or not verdict.satisfied):
        return None
    key = UNNAMED if missing is None else missing
    most = float(np.asarray(bound))
    return NotJudged(
        name=limit.name, unit=limit.unit, bound=most if np.isfinite(most) else None, missing=key,
        find_out=FIND_OUT.get(key, ""), hard=limit.hard,
    )  # fmt: skip


NO_LOAD = 0.05
"""Most that a motor's no-load current is of its stall current [-]; common practice, no source. It lowers the speed that
the motor reaches by as much."""


def any_stage(point: OperatingPoint, lacks: Callable[[Stage], bool]) -> bool:
    """Whether a stage lacks something."""
    return any(lacks(point.launcher.stage(k)) for k in range(point.count))


def without_drive(point: OperatingPoint) -> str | None:
    """Return what is missing for the drives of all stages: the drive, or the supply."""
    if any_stage(point, lambda stage: stage.drive is None):
        return "stage.drive"
    return "supply" if point.launcher.supply is None else None

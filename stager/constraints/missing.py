"""Limits that are asked for but cannot be judged, and what is missing for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import numpy as np

from stager.constraints.limit import Limit, NotJudged
from stager.constraints.operating_point import OperatingPoint
from stager.model.stage import Stage

Lacks = Callable[[OperatingPoint], bool]
Need = tuple[str, Lacks]


def not_judged(point: OperatingPoint, limits: tuple[Limit, ...]) -> list[NotJudged]:
    """Those of `limits` that the user has set and that `point` does not tell enough about."""
    asked = {field.name for field in fields(point.limit_values)}
    found = []
    for limit in limits:
        bound = limit.bound(point)
        if limit.name in asked and bound is not None and limit.value(point) is None:
            found.append(
                NotJudged(
                    name=limit.name, unit=limit.unit, bound=float(np.asarray(bound)),
                    missing=_missing(limit.name, point),
                )
            )  # fmt: skip
    return found


def _missing(name: str, point: OperatingPoint) -> str:
    """Key of the first thing that is missing, as a configuration has it."""
    return next((key for key, lacks in _NEEDS.get(name, ()) if lacks(point)), "a grip limit within the range")


def _any(lacks: Callable[[Stage], bool]) -> Lacks:
    return lambda point: any(lacks(point.launcher.stage(k)) for k in range(point.count))


_DRIVE: Need = ("stage.drive", _any(lambda stage: stage.drive is None))
_HEAT: Need = ("stage.drive.heat", _any(lambda stage: stage.drive is None or stage.drive.heat is None))
_SUPPLY: Need = ("supply", lambda point: point.launcher.supply is None)
_RATE: Need = ("feed.rate", lambda point: point.launcher.feed.rate is None)
_NEEDS: dict[str, tuple[Need, ...]] = {
    "mass": (("stage.mass", _any(lambda stage: stage.mass is None)),),
    "cost": (("stage.cost", _any(lambda stage: stage.cost is None)),),
    "voltage": (_SUPPLY,),
    "average_power": (_DRIVE, _SUPPLY),
    "peak_power": (_DRIVE, _SUPPLY),
    "supply_current": (_DRIVE, _SUPPLY),
    "settled_loss": (_DRIVE, _SUPPLY, _RATE),
    "winding_temperature": (_DRIVE, _SUPPLY, _HEAT),
    "rim_safety": (("stage.wheel.yield_strength", lambda point: True),),
}

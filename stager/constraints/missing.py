"""Limits that are asked for but cannot be judged, and what is missing for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import numpy as np

from stager.constraints.design import Design
from stager.constraints.limit import Limit, Unjudged
from stager.model.stage import Stage

Lacks = Callable[[Design], bool]
Need = tuple[str, Lacks]


def unjudged(design: Design, limits: tuple[Limit, ...]) -> list[Unjudged]:
    """Those of `limits` that the user has set and that `design` does not tell enough about."""
    asked = {field.name for field in fields(design.allowances)}
    found = []
    for limit in limits:
        allowed = limit.allowed(design)
        if limit.name in asked and allowed is not None and limit.used(design) is None:
            found.append(
                Unjudged(
                    name=limit.name, unit=limit.unit, allowed=float(np.asarray(allowed)),
                    missing=_missing(limit.name, design),
                )
            )  # fmt: skip
    return found


def _missing(name: str, design: Design) -> str:
    """Key of the first thing that is missing, as a configuration has it."""
    return next((key for key, lacks in _NEEDS.get(name, ()) if lacks(design)), "a grip limit within the range")


def _any(lacks: Callable[[Stage], bool]) -> Lacks:
    return lambda design: any(lacks(design.launcher.stage(k)) for k in range(design.count))


_DRIVE: Need = ("stage.drive", _any(lambda stage: stage.drive is None))
_HEAT: Need = ("stage.drive.heat", _any(lambda stage: stage.drive is None or stage.drive.heat is None))
_SUPPLY: Need = ("supply", lambda design: design.launcher.supply is None)
_RATE: Need = ("feed.rate", lambda design: design.launcher.feed.rate is None)
_NEEDS: dict[str, tuple[Need, ...]] = {
    "mass": (("stage.mass", _any(lambda stage: stage.mass is None)),),
    "cost": (("stage.cost", _any(lambda stage: stage.cost is None)),),
    "voltage": (_SUPPLY,),
    "average_power": (_DRIVE, _SUPPLY),
    "peak_power": (_DRIVE, _SUPPLY),
    "supply_current": (_DRIVE, _SUPPLY),
    "settled_loss": (_DRIVE, _SUPPLY, _RATE),
    "winding_temperature": (_DRIVE, _SUPPLY, _HEAT),
    "rim_safety": (("stage.wheel.yield_strength", lambda design: True),),
}

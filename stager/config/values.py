"""Every quantity of a configuration by its dotted key, with inheritance of [stage] by [[stages]]."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import BaseModel

from stager.config.machine import File, Stage
from stager.config.speed import SetSpeed
from stager.model.scenario import Uncertain
from stager.units import Measured


def quantities(file: File, raw: Mapping[str, Any]) -> dict[str, Measured]:
    """Quantities by key; one that a stage has from [stage] has that key alone."""
    found: dict[str, Measured] = {}
    for name in File.model_fields:
        value = getattr(file, name)
        if name == "stages":
            for number, stage in enumerate(value):
                own = raw["stages"][number]
                found.update(_walk(stage, f"stages.{number + 1}", own))
        elif name not in ("limits", "goal"):
            found.update(_walk(value, name, None))
    return found


def surface_speed(side: Measured, radius: float) -> Measured:
    """A set speed as surface speed [m/s]; a rate of turning counts at the radius at rest [m]."""
    if side.unit == "m/s":
        return side
    return replace(
        side, value=side.value * radius, standard_uncertainty=side.standard_uncertainty * radius, unit="m/s", written=""
    )


def _speeds(speed: SetSpeed, key: str, radius: float) -> dict[str, Measured]:
    found = {key: surface_speed(speed.side_a, radius)}
    if speed.side_b is not None:
        found[f"{key}_b"] = surface_speed(speed.side_b, radius)
    return found


def _walk(value: Any, key: str, own: Any) -> dict[str, Measured]:
    if isinstance(value, Measured):
        return {key: value}
    if isinstance(value, BaseModel):
        found: dict[str, Measured] = {}
        for name in type(value).model_fields:
            if isinstance(own, Mapping) and name not in own:
                continue
            inner = own[name] if isinstance(own, Mapping) else None
            part = getattr(value, name)
            if isinstance(part, SetSpeed) and isinstance(value, Stage):
                found.update(_speeds(part, f"{key}.{name}", value.wheel_in.radius.value))
            else:
                found.update(_walk(part, f"{key}.{name}", inner))
        return found
    if isinstance(value, list):
        found = {}
        for number, item in enumerate(value):
            found.update(_walk(item, f"{key}.{number + 1}", None))
        return found
    return {}


def uncertain(found: Mapping[str, Measured]) -> tuple[Uncertain, ...]:
    """Those with a standard uncertainty."""
    return tuple(
        Uncertain(
            key=key, value=m.value, standard_uncertainty=m.standard_uncertainty,
            low=m.low, high=m.high, rectangular=m.rectangular,
        )
        for key, m in found.items()
        if m.standard_uncertainty > 0
    )  # fmt: skip

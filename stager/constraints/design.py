"""Limits on the design: number, length, mass and cost of the stages, and crush of the projectile."""

from __future__ import annotations

import numpy as np

from stager.constraints.limit import Kind, Limit, any_stage, greatest, over_stages
from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats, Number
from stager.model.stage import Stage
from stager.physics.layout import length
from stager.physics.rotor import nip_growth

CALIPER_RESOLUTION = 1e-5
"""Last digit of calipers [m]: no gap is set more closely, so that growth of wheels by less does not count."""


def _sum_over_stages(point: OperatingPoint, field: str) -> Number | None:
    """Return the sum of a field over the stages; None where a stage lacks it."""
    values = [getattr(point.launcher.stage(k), field) for k in range(point.count)]
    return None if any(value is None for value in values) else sum(values, start=0.0)


def _largest_stage(point: OperatingPoint, field: str) -> int:
    """Return the number, from 1, of the stage with the greatest value of a field."""
    values = [float(getattr(point.launcher.stage(k), field) or 0.0) for k in range(point.count)]
    return 1 + int(np.argmax(values)) if values else 1


def _grown_crush(point: OperatingPoint) -> Floats:
    """Return the crush in each stage, tyre included, with the wheels grown at their speeds by what shows [m]."""
    speed_a, speed_b = point.throw.stages.wheel_speed_a, point.throw.stages.wheel_speed_b
    found: list[Number] = []
    for index in range(point.count):
        stage = point.launcher.stage(index)
        growth = nip_growth(stage, speed_a[..., index], speed_b[..., index])
        found.append(stage.crush + np.maximum(growth / stage.layout.crush_share - CALIPER_RESOLUTION, 0.0))
    return over_stages(found)


def _missing_modulus(point: OperatingPoint) -> str | None:
    """Return the key without which the growth of a hub at speed is unknown."""

    def unknown_modulus(stage: Stage) -> bool:
        return stage.wheel.material is None or stage.wheel.material.modulus is None

    if any_stage(point, lambda stage: stage.wheel.material is None):
        return "stage.wheel.material"
    return "stage.wheel.modulus" if any_stage(point, unknown_modulus) else None


STAGES = Limit(
    name="stages", kind=Kind.DESIGN, unit="-",
    value=lambda point: float(point.count),
    bound=lambda point: float(point.limit_values.stages),
    remedy=lambda point: "fewer stages",
)  # fmt: skip
LENGTH = Limit(
    name="length", kind=Kind.DESIGN, unit="m",
    value=lambda point: length(point.launcher, point.count),
    bound=lambda point: point.limit_values.length,
    remedy=lambda point: "smaller wheels, or one stage less",
)  # fmt: skip
MASS = Limit(
    name="mass", kind=Kind.DESIGN, unit="kg",
    value=lambda point: _sum_over_stages(point, "mass"),
    bound=lambda point: point.limit_values.mass,
    missing=lambda point: "stage.mass" if any_stage(point, lambda stage: stage.mass is None) else None,
    remedy=lambda point: f"one stage less, or a lighter stage {_largest_stage(point, 'mass')}",
)  # fmt: skip
COST = Limit(
    name="cost", kind=Kind.DESIGN, unit="",  # In the configuration's currency.
    value=lambda point: _sum_over_stages(point, "cost"),
    bound=lambda point: point.limit_values.cost,
    missing=lambda point: "stage.cost" if any_stage(point, lambda stage: stage.cost is None) else None,
    remedy=lambda point: f"one stage less, or a cheaper stage {_largest_stage(point, 'cost')}",
)  # fmt: skip
CRUSH = Limit(
    name="crush", kind=Kind.WHEEL, unit="m", hard=True,
    value=greatest(_grown_crush),
    each=_grown_crush,
    bound=lambda point: point.launcher.projectile.max_crush,
    missing=_missing_modulus,
    remedy=lambda point: "a wider gap",
)  # fmt: skip

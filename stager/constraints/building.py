"""Limits on what is built."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.limit import AllKnown, Kind
from stager.constraints.missing import any_stage
from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Number
from stager.model.stage import Stage
from stager.physics.layout import length
from stager.physics.rotor import swell

CALIPERS = 1e-5
"""Last digit of calipers [m]: a gap is set no closer, and wheels grow by less at usual speeds."""


@dataclass(frozen=True, slots=True)
class Stages(AllKnown):
    """Number of stages."""

    name: str = "stages"
    unit: str = "-"
    floor: bool = False
    kind: Kind = Kind.DESIGN
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[-]."""
        return float(point.count)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[-]."""
        return float(point.limit_values.stages)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "fewer stages"


@dataclass(frozen=True, slots=True)
class Length(AllKnown):
    """Length along the barrel."""

    name: str = "length"
    unit: str = "m"
    floor: bool = False
    kind: Kind = Kind.DESIGN
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[m]."""
        return length(point.launcher, point.count)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[m]."""
        return point.limit_values.length

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "smaller wheels, or one stage less"


@dataclass(frozen=True, slots=True)
class Mass:
    """Mass of all stages."""

    name: str = "mass"
    unit: str = "kg"
    floor: bool = False
    kind: Kind = Kind.DESIGN
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[kg]; None where a stage's is not known."""
        return total(point, "mass")

    def bound(self, point: OperatingPoint) -> Number | None:
        """[kg]."""
        return point.limit_values.mass

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return "stage.mass" if any_stage(point, lambda stage: stage.mass is None) else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"one stage less, or a lighter stage {heaviest(point, 'mass')}"


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of all stages, in the configuration's currency."""

    name: str = "cost"
    unit: str = ""
    floor: bool = False
    kind: Kind = Kind.DESIGN
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """None where a stage's is not known."""
        return total(point, "cost")

    def bound(self, point: OperatingPoint) -> Number | None:
        """As `value`."""
        return point.limit_values.cost

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return "stage.cost" if any_stage(point, lambda stage: stage.cost is None) else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"one stage less, or a cheaper stage {heaviest(point, 'cost')}"


@dataclass(frozen=True, slots=True)
class Crush:
    """Crush of the projectile, tyre included, wheels grown by their speed."""

    name: str = "crush"
    unit: str = "m"
    floor: bool = False
    kind: Kind = Kind.WHEEL
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """Greatest over the stages [m]."""
        speed_a, speed_b = point.throw.stages.wheel_speed_a, point.throw.stages.wheel_speed_b
        found = [np.zeros(point.throw.exit_speed.shape)]
        for index in range(point.count):
            stage = point.launcher.stage(index)
            grown = swell(stage, speed_a[..., index], speed_b[..., index])
            found.append(np.asarray(stage.crush + grown / stage.layout.crush_share))
        return np.asarray(np.max(np.broadcast_arrays(*found), axis=0))

    def bound(self, point: OperatingPoint) -> Number | None:
        """What the projectile bears, to what calipers show [m]."""
        most = point.launcher.projectile.max_crush
        return None if most is None else most + CALIPERS

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        if any_stage(point, lambda stage: stage.wheel.material is None):
            return "stage.wheel.material"
        return "stage.wheel.modulus" if any_stage(point, _of_unknown_modulus) else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a wider gap"


def total(point: OperatingPoint, name: str) -> Number | None:
    """Sum of a field of all stages, None where one lacks it."""
    values = [getattr(point.launcher.stage(k), name) for k in range(point.count)]
    return None if any(value is None for value in values) else sum(values, start=0.0)


def heaviest(point: OperatingPoint, name: str) -> int:
    """Number, from 1, of the stage with most of a field."""
    values = [float(getattr(point.launcher.stage(k), name) or 0.0) for k in range(point.count)]
    return 1 + int(np.argmax(values)) if values else 1


def _of_unknown_modulus(stage: Stage) -> bool:
    """Whether nothing tells how much the hub grows at speed."""
    return stage.wheel.material is None or stage.wheel.material.modulus is None

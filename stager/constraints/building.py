"""Limits on what is built."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.design import Design
from stager.model.arrays import Number
from stager.physics.growth import swell
from stager.physics.layout import length


@dataclass(frozen=True, slots=True)
class Stages:
    """Number of stages."""

    name: str = "stages"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[-]."""
        return float(design.count)

    def allowed(self, design: Design) -> Number | None:
        """[-]."""
        return float(design.allowances.stages)

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "fewer stages"


@dataclass(frozen=True, slots=True)
class Length:
    """Length along the barrel."""

    name: str = "length"
    unit: str = "m"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m]."""
        return length(design.launcher, design.count)

    def allowed(self, design: Design) -> Number | None:
        """[m]."""
        return design.allowances.length

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "smaller wheels, or one stage less"


@dataclass(frozen=True, slots=True)
class Mass:
    """Mass of all stages."""

    name: str = "mass"
    unit: str = "kg"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[kg]; None where a stage's is not known."""
        return total(design, "mass")

    def allowed(self, design: Design) -> Number | None:
        """[kg]."""
        return design.allowances.mass

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"one stage less, or a lighter stage {heaviest(design, 'mass')}"


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of all stages, in the configuration's currency."""

    name: str = "cost"
    unit: str = ""
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """None where a stage's is not known."""
        return total(design, "cost")

    def allowed(self, design: Design) -> Number | None:
        """As `used`."""
        return design.allowances.cost

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"one stage less, or a cheaper stage {heaviest(design, 'cost')}"


@dataclass(frozen=True, slots=True)
class Crush:
    """Crush of the projectile, tyre included, wheels grown by their speed."""

    name: str = "crush"
    unit: str = "m"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Greatest over the stages [m]."""
        speed_a, speed_b = design.throw.stages.wheel_speed_a, design.throw.stages.wheel_speed_b
        found = [np.zeros(design.throw.exit_speed.shape)]
        for index in range(design.count):
            stage = design.launcher.stage(index)
            grown = swell(stage, speed_a[..., index], speed_b[..., index])
            found.append(np.asarray(stage.crush + grown / stage.layout.crush_share))
        return np.asarray(np.max(np.broadcast_arrays(*found), axis=0))

    def allowed(self, design: Design) -> Number | None:
        """What the projectile bears [m]."""
        return design.launcher.projectile.max_crush

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a wider gap"


def total(design: Design, name: str) -> Number | None:
    """Sum of a field of all stages, None where one lacks it."""
    values = [getattr(design.launcher.stage(k), name) for k in range(design.count)]
    return None if any(value is None for value in values) else sum(values, start=0.0)


def heaviest(design: Design, name: str) -> int:
    """Number, from 1, of the stage with most of a field."""
    values = [float(getattr(design.launcher.stage(k), name) or 0.0) for k in range(design.count)]
    return 1 + int(np.argmax(values)) if values else 1

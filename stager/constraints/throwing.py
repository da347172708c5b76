"""Limits on the throw itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.design import Design
from stager.constraints.wheels import worst
from stager.model.arrays import Floats, Number
from stager.physics.motion import translation_energy


@dataclass(frozen=True, slots=True)
class ExitEnergy:
    """½mv² as it leaves; always set."""

    name: str = "exit_energy"
    unit: str = "J"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Translation energy [J]."""
        return translation_energy(design.throw.exit_speed, design.launcher.projectile)

    def allowed(self, design: Design) -> Number | None:
        """[J]."""
        return design.allowances.exit_energy

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a slower last wheel"


@dataclass(frozen=True, slots=True)
class ExitSpeed:
    """Speed as it leaves."""

    name: str = "exit_speed"
    unit: str = "m/s"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m/s]."""
        return design.throw.exit_speed

    def allowed(self, design: Design) -> Number | None:
        """[m/s]."""
        return design.allowances.exit_speed

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a slower last wheel"


@dataclass(frozen=True, slots=True)
class EnergyPerArea:
    """½mv² by the area seen from the front."""

    name: str = "energy_per_area"
    unit: str = "J/m^2"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[J/m^2]."""
        projectile = design.launcher.projectile
        return translation_energy(design.throw.exit_speed, projectile) / projectile.frontal_area

    def allowed(self, design: Design) -> Number | None:
        """[J/m^2]."""
        return design.allowances.energy_per_area

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a slower last wheel, or a wider projectile"


@dataclass(frozen=True, slots=True)
class Toy:
    """½mv² by a published limit on toy projectiles, with the area seen from the front for the one that touches."""

    name: str = "toy"
    unit: str = "J"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Translation energy [J]."""
        return translation_energy(design.throw.exit_speed, design.launcher.projectile)

    def allowed(self, design: Design) -> Number | None:
        """[J]."""
        toy = design.allowances.toy
        return None if toy is None else toy.most(design.launcher.projectile.known_frontal_area)

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a slower last wheel"


@dataclass(frozen=True, slots=True)
class Acceleration:
    """Greatest acceleration along the barrel, of the user's limit and what the projectile bears."""

    name: str = "acceleration"
    unit: str = "m/s^2"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m/s^2]."""
        return np.asarray(design.throw.stages.peak_acceleration.max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """[m/s^2]."""
        known = [
            value
            for value in (design.allowances.acceleration, design.launcher.projectile.max_acceleration)
            if value is not None
        ]
        return min(known[0], known[-1]) if known else None

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"less crush in stage {1 + worst(design.throw.stages.peak_acceleration)}"


@dataclass(frozen=True, slots=True)
class SlipHeat:
    """Heat of both sides, summed over the stages."""

    name: str = "slip_heat"
    unit: str = "J"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[J]."""
        return np.asarray(design.throw.stages.slip_heat.sum(axis=-1))

    def allowed(self, design: Design) -> Number | None:
        """[J]."""
        return design.allowances.slip_heat

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(design.throw.stages.slip_heat)}, where most of the heat is"


@dataclass(frozen=True, slots=True)
class GripMargin:
    """Each wheel at least this share below its grip limit, at its own entry speed. Of a pair at two speeds that is the
    leading one: the other keeps a larger share; see `staging.grip`."""

    name: str = "grip_margin"
    unit: str = "-"
    floor: bool = True

    def used(self, design: Design) -> Number | None:
        """Least of 1 − u/grip limit over the stages; 1 where no stage has a grip limit within its range."""
        if design.grip_limit is None:
            return None
        return np.asarray(1.0 - self._shares(design).max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """[-]; None where no margin is asked for."""
        return design.allowances.grip_margin or None

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(self._shares(design))}"

    def _shares(self, design: Design) -> Floats:
        """u by grip limit of each stage [-], 0 where there is none."""
        speed = design.leading
        if design.grip_limit is None:
            return np.zeros(speed.shape)
        return np.where(np.isnan(design.grip_limit), 0.0, speed / design.grip_limit)

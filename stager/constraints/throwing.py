"""Limits on the throw itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.limit import AllKnown, Kind
from stager.constraints.operating_point import OperatingPoint
from stager.constraints.wheels import worst
from stager.model.arrays import Floats, Number
from stager.model.projectile import Projectile
from stager.model.requirements import ToyLimit
from stager.physics.mechanics import translation_energy


@dataclass(frozen=True, slots=True)
class ExitEnergy(AllKnown):
    """½mv² as it leaves; always set."""

    name: str = "exit_energy"
    unit: str = "J"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """Translation energy [J]."""
        return translation_energy(point.outlet_speed, point.launcher.projectile)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[J]."""
        return point.limit_values.exit_energy

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a slower last wheel"


@dataclass(frozen=True, slots=True)
class ExitSpeed(AllKnown):
    """Speed as it leaves."""

    name: str = "exit_speed"
    unit: str = "m/s"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[m/s]."""
        return point.outlet_speed

    def bound(self, point: OperatingPoint) -> Number | None:
        """[m/s]."""
        return point.limit_values.exit_speed

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a slower last wheel"


@dataclass(frozen=True, slots=True)
class EnergyPerArea:
    """½mv² by the area seen from the front."""

    name: str = "energy_per_area"
    unit: str = "J/m^2"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[J/m^2]; None where the area is not known."""
        projectile = point.launcher.projectile
        area = projectile.known_frontal_area
        return None if area is None else translation_energy(point.outlet_speed, projectile) / area

    def bound(self, point: OperatingPoint) -> Number | None:
        """[J/m^2]."""
        return point.limit_values.energy_per_area

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return "projectile.thickness" if point.launcher.projectile.known_frontal_area is None else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a slower last wheel, or a wider projectile"


@dataclass(frozen=True, slots=True)
class Toy:
    """½mv² by a published limit on toy projectiles."""

    name: str = "toy"
    unit: str = "J"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number:
        """Translation energy [J]."""
        return translation_energy(point.outlet_speed, point.launcher.projectile)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[J]; the energy that asks for no area, where there is no more of it."""
        toy = point.limit_values.toy
        if toy is None:
            return None
        most = toy_energy(toy, point.launcher.projectile)
        if toy.energy_per_area is None or point.launcher.projectile.contact_area is not None:
            return most
        return np.where(self.value(point) <= toy.energy, toy.energy, most)

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        toy, projectile = point.limit_values.toy, point.launcher.projectile
        if toy is None or toy.energy_per_area is None or projectile.contact_area is not None:
            return None
        return None if bool(self.value(point) <= toy.energy) else "projectile.contact_area"

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a slower last wheel"


def toy_energy(toy: ToyLimit, projectile: Projectile) -> Number:
    """Return the energy above which a toy limit is broken for certain [J]; inf where no area is known.

    What touches is no larger than what is seen from the front, which serves where `contact_area` is unknown.
    """
    area = projectile.known_frontal_area if projectile.contact_area is None else projectile.contact_area
    return np.inf if area is None and toy.energy_per_area is not None else toy.most(area)


@dataclass(frozen=True, slots=True)
class Acceleration(AllKnown):
    """Greatest acceleration along the barrel, of the user's limit and what the projectile bears."""

    name: str = "acceleration"
    unit: str = "m/s^2"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[m/s^2]."""
        return np.asarray(point.throw.stages.peak_acceleration.max(axis=-1, initial=0.0))

    def bound(self, point: OperatingPoint) -> Number | None:
        """[m/s^2]."""
        known = [
            value
            for value in (point.limit_values.acceleration, point.launcher.projectile.max_acceleration)
            if value is not None
        ]
        return min(known[0], known[-1]) if known else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"less crush in stage {1 + worst(point.throw.stages.peak_acceleration)}"


@dataclass(frozen=True, slots=True)
class SlipHeat(AllKnown):
    """Heat of both sides, summed over the stages."""

    name: str = "slip_heat"
    unit: str = "J"
    floor: bool = False
    kind: Kind = Kind.THROW
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[J]."""
        return np.asarray(point.throw.stages.slip_heat.sum(axis=-1))

    def bound(self, point: OperatingPoint) -> Number | None:
        """[J]."""
        return point.limit_values.slip_heat

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(point.throw.stages.slip_heat)}, where most of the heat is"


@dataclass(frozen=True, slots=True)
class GripMargin(AllKnown):
    """Each wheel at least this share below its grip limit, at its own entry speed. Of a pair at two speeds that is the
    leading one: the other keeps a larger share; see `staging.grip`."""

    name: str = "grip_margin"
    unit: str = "-"
    floor: bool = True
    kind: Kind = Kind.THROW
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """Least of 1 − u/grip limit over the stages; 1 where no stage has a grip limit within its range."""
        if point.grip_limit is None:
            return None
        return np.asarray(1.0 - self._shares(point).max(axis=-1, initial=0.0))

    def bound(self, point: OperatingPoint) -> Number | None:
        """[-]; None where no margin is asked for."""
        return point.limit_values.grip_margin or None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(self._shares(point))}"

    def _shares(self, point: OperatingPoint) -> Floats:
        """u by grip limit of each stage [-], 0 where there is none."""
        speed = point.leading
        if point.grip_limit is None:
            return np.zeros(speed.shape)
        unlimited = np.isnan(point.grip_limit)
        most = np.full(np.broadcast_shapes(speed.shape, point.grip_limit.shape), np.inf)
        shares = np.divide(speed, point.grip_limit, out=most, where=unlimited | (point.grip_limit > 0))
        return np.where(unlimited, 0.0, shares)

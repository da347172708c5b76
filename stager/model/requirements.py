"""The user's limits and goal, and published limits on toy projectiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np

from stager.model.arrays import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class ToyLimit:
    """A published limit on toy projectiles.

    energy: greatest exit energy or, where energy_per_area is given, the exempted energy [J]
    energy_per_area: greatest energy per contact area above the exempted energy [J/m^2]; None: no such limit
    source: where it is printed
    """

    name: str
    energy: float
    energy_per_area: float | None = None
    source: str

    def keeps(self, energy: float, contact_area: float | None, frontal_area: float | None = None) -> bool | None:
        """Return whether `energy` [J] is within the limit; None where that needs an unknown contact area [m^2].

        The contact area is at most the frontal area [m^2]: above the limit on that, the answer is False.
        """
        if self.energy_per_area is None or energy <= self.energy:
            return energy <= self.energy
        if contact_area is not None:
            return energy <= self.energy_per_area * contact_area
        return False if frontal_area is not None and energy > self.energy_per_area * frontal_area else None

    def most(self, area: Number | None) -> Number:
        """Return the greatest energy [J] on a contact area [m^2]; None: the exempted energy."""
        if self.energy_per_area is None or area is None:
            return self.energy
        return np.maximum(self.energy, self.energy_per_area * area)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitValues:
    """The user's limits; None: no such limit.

    exit_energy [J]; length [m]; average_power, peak_power [W]; supply_current [A]; exit_speed, wheel_speed [m/s];
    energy_per_area [J/m^2]; winding_temperature [K]; slip_heat: of one throw [J]; voltage [V]; mass [kg];
    cost [any currency]; acceleration [m/s^2]
    rim_safety: least strength / stress of a hub [-]
    settled_loss: greatest loss of exit speed when throwing at the feed's rate [-]
    grip_margin: share that each wheel stays below its grip limit [-]
    toy: a published limit on toy projectiles
    confidence: least share of builds that keep all hard limits together [-]
    """

    exit_energy: float
    stages: int = 6
    length: float | None = None
    average_power: float | None = None
    peak_power: float | None = None
    supply_current: float | None = None
    rim_safety: float | None = None
    exit_speed: float | None = None
    wheel_speed: float | None = None
    energy_per_area: float | None = None
    winding_temperature: float | None = None
    settled_loss: float | None = None
    slip_heat: float | None = None
    voltage: float | None = None
    mass: float | None = None
    cost: float | None = None
    acceleration: float | None = None
    grip_margin: float = 0.0
    toy: ToyLimit | None = None
    confidence: float = 0.95

    def with_values(self, values: Mapping[str, float]) -> LimitValues:
        """Return limit values with these, by name; that of a toy limit is an energy on any area [J]."""
        changes: dict[str, Any] = dict(values)
        if self.toy is not None and "toy" in changes:
            changes["toy"] = replace(self.toy, energy=changes["toy"], energy_per_area=None)
        return replace(self, **changes)


class Aim(Enum):
    """What a plan optimises."""

    FASTEST = "fastest"
    REACH = "reach"
    STEADIEST = "steadiest"


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """Aim; exit_speed [m/s] and spin [rad/s] asked for; worthwhile: least gain that pays for a further stage [-]."""

    aim: Aim
    exit_speed: float | None = None
    spin: float | None = None
    worthwhile: float = 0.08

    @property
    def asked(self) -> float | None:
        """Return the exit speed asked for [m/s]; None where the greatest is."""
        return None if self.aim is Aim.FASTEST else self.exit_speed

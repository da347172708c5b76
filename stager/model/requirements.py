"""What the user allows and wants, and what a published limit on toy projectiles says."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from stager.model.arrays import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class ToyLimit:
    """energy [J]: most that is let out, or, with `energy_per_area` [J/m^2], up to which that is not asked for."""

    name: str
    applies_to: str
    energy: float
    energy_per_area: float | None = None
    source: str

    def keeps(self, energy: float, contact_area: float | None, frontal_area: float | None = None) -> bool | None:
        """Return whether `energy` [J] is within; None where that takes a contact area [m^2] that is not known.

        What touches is no larger than `frontal_area` [m^2], what is seen from the front: beyond the limit on that, it
        is broken whatever touches.
        """
        if self.energy_per_area is None or energy <= self.energy:
            return energy <= self.energy
        if contact_area is not None:
            return energy <= self.energy_per_area * contact_area
        return False if frontal_area is not None and energy > self.energy_per_area * frontal_area else None

    def most(self, area: Number | None) -> Number:
        """Return the greatest energy [J] on `area` [m^2]; not known: the one that does not ask for it."""
        if self.energy_per_area is None or area is None:
            return self.energy
        return np.maximum(self.energy, self.energy_per_area * area)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitValues:
    """The user's limits in SI; None: no such limit.

    exit_energy [J]; length [m]; average_power, peak_power [W]; supply_current [A]; rim_safety [-];
    exit_speed, wheel_speed [m/s]; energy_per_area [J/m^2]; winding_temperature [K]; settled_loss [-];
    slip_heat [J] per throw; voltage [V]; mass [kg]; cost; acceleration [m/s^2]; grip_margin [-];
    toy: a published limit on toy projectiles; confidence: least share of builds that keep all hard limits together
    [-].
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


class Aim(Enum):
    """What the plan is for."""

    FASTEST = "fastest"
    REACH = "reach"
    STEADIEST = "steadiest"


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """aim; exit_speed [m/s] and spin [rad/s] where asked for; worthwhile: least gain that pays for a stage [-]."""

    aim: Aim
    exit_speed: float | None = None
    spin: float | None = None
    worthwhile: float = 0.08

    @property
    def asked(self) -> float | None:
        """Exit speed that is wanted [m/s]; None where it is the greatest."""
        return None if self.aim is Aim.FASTEST else self.exit_speed

"""What a published limit on toy projectiles says."""

from __future__ import annotations

from dataclasses import dataclass

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

    def keeps(self, energy: float, energy_per_area: float | None) -> bool | None:
        """Whether `energy` [J] and `energy_per_area` [J/m^2] are within; None where that takes an area not known."""
        if self.energy_per_area is None or energy <= self.energy:
            return energy <= self.energy
        return None if energy_per_area is None else energy_per_area <= self.energy_per_area

    def most(self, area: Number | None) -> Number:
        """Greatest energy [J] on `area` [m^2]; where that is not known, the one that does not ask for it."""
        if self.energy_per_area is None or area is None:
            return self.energy
        return np.maximum(self.energy, self.energy_per_area * area)

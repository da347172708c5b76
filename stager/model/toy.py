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

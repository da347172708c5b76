"""Published limits for toy projectiles, as their standards have them: to compare with, not to be certified by."""

from __future__ import annotations

from dataclasses import dataclass


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


TOY_LIMITS = (
    ToyLimit(
        name="ASTM F963-17",
        applies_to="projectiles of toys",
        energy=0.08,
        energy_per_area=2500.0,
        source="a test laboratory's bulletin on tests 8.14.5 and 8.14.6",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (resilient)",
        applies_to="projectiles with a resilient impact surface",
        energy=0.5,
        source="a trading-standards page of 2010",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (rigid)",
        applies_to="projectiles without a resilient tip",
        energy=0.08,
        source="a trading-standards page of 2010",
    ),
)
"""Limits whose values were read in the sources named. Since amendment A1:2018, EN 71-1 judges by energy per area."""

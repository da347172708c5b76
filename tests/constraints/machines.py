"""A launcher with data for every limit; all numbers are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from stager.model.requirements import LimitValues, ToyLimit
from tests.drive.machines import DRIVE, HEAT, launcher, wheel

FULL = launcher(drive=replace(DRIVE, heat=HEAT, max_speed=2500.0), rate=2.0)
FULL = replace(
    FULL,
    projectile=replace(FULL.projectile, max_crush=5e-3, max_acceleration=1e5, contact_area=6e-4),
    template=replace(
        FULL.template,
        wheel=wheel(tyre=replace(FULL.template.wheel.tyre, hub_friction=0.9, lip_strength=2e6)),  # type: ignore[type-var]
    ),
)
GIVEN = {
    "exit_energy": 8.0, "length": 0.5, "average_power": 100.0, "peak_power": 1e3, "supply_current": 100.0,
    "rim_safety": 3.0, "exit_speed": 30.0, "wheel_speed": 40.0, "energy_per_area": 8e3, "winding_temperature": 400.0,
    "settled_loss": 0.05, "slip_heat": 10.0, "voltage": 20.0, "mass": 2.0, "cost": 100.0, "acceleration": 2e4,
    "grip_margin": 0.05, "stages": 4,
    "toy": ToyLimit(name="mild", energy=0.08, energy_per_area=4e3, source="invented"),
}  # fmt: skip


def limit_values(**given: Any) -> LimitValues:
    """Return limit values of every kind, all satisfied at moderate speeds."""
    return LimitValues(**{**GIVEN, **given})

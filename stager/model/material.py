"""What wheels and tyres are made of."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.arrays import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelMaterial:
    """Hub material.

    density [kg/m^3]; modulus [Pa]; poisson [-]; yield_strength, tensile_strength [Pa] (None: unknown);
    strength_factor: share of the strength that is left, e.g. across printed layers [-];
    conductivity, thermal [W/m/K] (None: unknown);
    brittle: burst is judged by the elastic peak, not by the mean hoop stress; source: where the values come from.
    """

    name: str
    density: Number
    modulus: Number | None = None
    poisson: Number = 0.33
    yield_strength: Number | None = None
    tensile_strength: Number | None = None
    strength_factor: Number = 1.0
    brittle: bool = False
    conductivity: Number | None = None
    source: str = "given"


@dataclass(frozen=True, slots=True, kw_only=True)
class TyreMaterial:
    """Tyre material: density [kg/m^3]; modulus [Pa]; tensile_strength [Pa] (None: unknown)."""

    name: str
    density: Number
    modulus: Number
    tensile_strength: Number | None = None
    source: str = "given"

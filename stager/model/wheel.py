"""A wheel: hub, tyre and their materials."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from stager.model.arrays import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelMaterial:
    """Hub material.

    density [kg/m^3]; modulus [Pa]; poisson [-]; yield_strength, tensile_strength [Pa]; None: unknown
    strength_factor: share of the strength that remains, e.g. across printed layers [-]
    brittle: it bursts at the elastic peak of the hoop stress, else at its mean
    conductivity: thermal [W/m/K]; None: unknown
    source: of the values
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


class Hold(Enum):
    """What holds the tyre on its hub."""

    STRETCH = "stretch"
    CLAMP = "clamp"
    LIP = "lip"
    BOND = "bond"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tyre:
    """A tyre.

    depth: radial, as fitted [m]
    stretch: extension by fitting, of its diameter before fitting [-]
    clamp_force: axial, of a clamped tyre [N]; None: unknown
    hub_friction: coefficient of friction on the hub [-]; None: unknown
    bond_strength, lip_strength: per area [Pa]; None: unknown
    """

    material: TyreMaterial
    depth: Number
    stretch: Number = 0.0
    held_by: Hold = Hold.BOND
    clamp_force: Number | None = None
    hub_friction: Number | None = None
    bond_strength: Number | None = None
    lip_strength: Number | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A wheel.

    radius: to the outside of the tyre, at rest [m]
    width [m]
    bore: diameter of the hole for the shaft [m]; 0: unknown, and stress is that around a small hole, unless `solid`
    solid: the wheel has no hole
    inertia: of hub and tyre [kg m^2]; None: computed from geometry, see `physics.rotor`
    tyre: None: the wheel has none
    cost [any currency]; mass [kg]
    radius_range, inertia_range: ends between which they may be chosen [m], [kg m^2]; None: they are as they are
    """

    radius: Number
    width: Number | None = None
    bore: Number = 0.0
    solid: bool = False
    material: WheelMaterial | None = None
    inertia: Number | None = None
    tyre: Tyre | None = None
    name: str = ""
    cost: Number = 0.0
    mass: Number | None = None
    radius_range: tuple[float, float] | None = None
    inertia_range: tuple[float, float] | None = None

    @property
    def hub_radius(self) -> Number:
        """Return the outer radius of the hub, below the tyre [m]."""
        return self.radius if self.tyre is None else self.radius - self.tyre.depth

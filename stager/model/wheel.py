"""A wheel: hub, perhaps a tyre, and what they are made of."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

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


class Hold(Enum):
    """What keeps the tyre on its hub."""

    STRETCH = "stretch"
    CLAMP = "clamp"
    LIP = "lip"
    BOND = "bond"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tyre:
    """A tyre: depth [m] (radial, as fitted); stretch [-]; held_by."""

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
    """A wheel: radius to the outside of the tyre, at rest [m]; width, bore diameter [m]; inertia [kg m^2].

    `inertia` is the wheel's own (hub and tyre) as given; None: from geometry (`physics.rotor`).
    bore 0: not known, so that stress is that around a small hole, unless the wheel is said to be `solid`.
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

    @property
    def hub_radius(self) -> Number:
        """Outer radius of the hub, below the tyre [m]."""
        return self.radius if self.tyre is None else self.radius - self.tyre.depth

"""One stage: wheels, tyres and their materials, motor, controller, supply, and its layout: pair, rail or idler."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from stager.model.arrays import Number
from stager.model.projectile import Spread


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
    cost [any currency]; mass [kg]; None: unknown
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
    cost: Number | None = None
    mass: Number | None = None
    radius_range: tuple[float, float] | None = None
    inertia_range: tuple[float, float] | None = None

    @property
    def hub_radius(self) -> Number:
        """Return the outer radius of the hub, below the tyre [m]."""
        return self.radius if self.tyre is None else self.radius - self.tyre.depth


ZERO_CELSIUS = 273.15
"""0 degC [K]."""
INSULATION = {
    name: celsius + ZERO_CELSIUS
    for name, celsius in (("A", 105), ("E", 120), ("B", 130), ("F", 155), ("H", 180), ("N", 200), ("R", 220))
}
"""Greatest temperature of each thermal class [K]; IEC 60085:2007."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Two-node thermal model of a motor.

    winding_capacity, case_capacity [J/K]; winding_to_case, case_to_air [K/W];
    fins: number, outer diameter [m], thickness [m], conductivity [W/m/K] (all None: no fins).
    """

    winding_capacity: Number
    winding_to_case: Number
    case_capacity: Number
    case_to_air: Number | None = None
    fin_count: int | None = None
    fin_diameter: Number | None = None
    fin_thickness: Number | None = None
    fin_conductivity: Number | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """Bolt circle of a motor: `screws` holes of diameter `screw` [m] on a circle of diameter `circle` [m]."""

    circle: Number
    screw: Number
    screws: int = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A motor as its DC equivalent, one per driven wheel.

    speed_constant: Kv [rad/s/V]
    resistance: of the winding at 20 degC [ohm]
    no_load_current [A]; no_load_known: False where it is unknown and taken as 0
    current_limit: of the controller [A]; inf: none
    max_speed: of the motor [rad/s]; None: none given
    rotor_inertia: at the motor shaft [kg m^2]
    gear: motor turns per wheel turn [-]
    governed: the controller holds the set speed, else a constant throttle
    heat: None: unknown
    cost [any currency]; mass [kg]; None: unknown
    """

    speed_constant: Number
    resistance: Number
    no_load_current: Number = 0.0
    no_load_known: bool = True
    current_limit: Number = np.inf
    max_speed: Number | None = None
    rotor_inertia: Number = 0.0
    gear: Number = 1.0
    governed: bool = False
    heat: Heat | None = None
    mount: Mount | None = None
    name: str = ""
    cost: Number | None = None
    mass: Number | None = None

    @property
    def torque_constant(self) -> Number:
        """Return Kt = 1/Kv [N m/A], Kv in rad/s/V."""
        return 1 / self.speed_constant


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A lithium battery: cells in series; capacity [C]; resistance with leads [ohm]; mass [kg]; cost [any currency]."""

    name: str
    cells: int
    capacity: Number
    resistance: Number = 0.0
    mass: Number | None = None
    cost: Number | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """The common supply: open voltage [V]; resistance of battery and leads [ohm]; capacity [C]; cells in series.

    batteries : others that could be in its place.
    """

    voltage: Number
    resistance: Number = 0.0
    capacity: Number | None = None
    cells: int | None = None
    batteries: tuple[Battery, ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """What is on side B, opposite the driven wheel.

    side_b_turns: side B is a wheel
    side_b_driven: side B has a drive of its own
    crush_share: share of the crush that side A takes [-]
    """

    name: str
    side_b_turns: bool
    side_b_driven: bool
    crush_share: float

    @property
    def driven_wheels(self) -> int:
        """Return the number of driven wheels of a stage."""
        return 2 if self.side_b_driven else 1


PAIR = Layout("pair", side_b_turns=True, side_b_driven=True, crush_share=0.5)
RAIL = Layout("rail", side_b_turns=False, side_b_driven=False, crush_share=1.0)
IDLER = Layout("idler", side_b_turns=True, side_b_driven=False, crush_share=0.5)
LAYOUTS = {layout.name: layout for layout in (PAIR, RAIL, IDLER)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A stage as it is built.

    crush: of both sides together [m]
    drive: of each driven wheel (a pair has two); None: unknown
    clearance: between the wheels of neighbouring stages [m]; pitch: between their axes, instead of it [m]
    speed, speed_b: set surface speeds of sides A and B [m/s]
    speed_spread: of a wheel's speed as it meets a projectile, from shot to shot; None: unknown
    idler_inertia [kg m^2]; cost [any currency]; mass [kg]
    crush_range: least and greatest crush that the search may choose [m]; None: the crush is fixed
    wheel_options, drive_options: catalogue that the search chooses from
    """

    layout: Layout
    wheel: Wheel
    crush: Number
    drive: Drive | None = None
    clearance: Number = 0.005
    pitch: Number | None = None
    speed: Number | None = None
    speed_b: Number | None = None
    speed_spread: Spread | None = None
    idler_inertia: Number | None = None
    cost: Number | None = None
    mass: Number | None = None
    crush_range: tuple[float, float] | None = None
    wheel_options: tuple[Wheel, ...] = ()
    drive_options: tuple[Drive, ...] = ()

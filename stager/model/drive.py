"""Motor and controller of one driven wheel, thermal classes of windings, and the common supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Number

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
    cost [any currency]; mass [kg]
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
    cost: Number = 0.0
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

"""Air: ISO 2533 standard atmosphere, drag and lift of spheres, windage of discs.

Windage is that of both faces of a disc that turns freely in still air. Below the transition the boundary layer is
laminar everywhere. Above it a laminar core, up to the transition's Reynolds number, stays within a turbulent ring, so
that the moment is continuous.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Wheel

GAS_CONSTANT = 287.05287
"""Specific gas constant of dry air [J/(kg K)]; ISO 2533."""
HEAT_RATIO = 1.4
"""Ratio of specific heats of dry air [-]; ISO 2533."""
EARTH_RADIUS = 6_356_766.0
"""Nominal radius of the earth [m]; ISO 2533."""
STANDARD_GRAVITY = 9.80665
"""[m/s^2]; ISO 2533."""
SEA_LEVEL_TEMPERATURE = 288.15
"""[K]; ISO 2533."""
SEA_LEVEL_PRESSURE = 101_325.0
"""[Pa]; ISO 2533."""
LAPSE = 6.5e-3
"""Fall of temperature with geopotential altitude in the troposphere [K/m]; ISO 2533."""
TROPOPAUSE = 11_000.0
"""Geopotential altitude of the top of the troposphere [m]; ISO 2533."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """State of the air.

    temperature [K]; density [kg/m^3]; viscosity: dynamic [Pa s]; conductivity: thermal [W/(m K)]
    """

    temperature: Number
    density: Number
    viscosity: Number
    conductivity: Number

    @property
    def kinematic_viscosity(self) -> Number:
        """Return ν = μ/ρ [m^2/s]."""
        return self.viscosity / self.density


def air_at(temperature: Number, pressure: Number = SEA_LEVEL_PRESSURE) -> Air:
    """Return dry air at `temperature` [K] and `pressure` [Pa]; shapes broadcast.

    Ideal gas; Sutherland's viscosity 1.458e-6·T^1.5/(T + 110.4) and conductivity
    2.648151e-3·T^1.5/(T + 245.4·10^(−12/T)), both as in ISO 2533 (formulas 22 and 24, as read in code that
    follows the standard).
    """
    root = temperature**1.5
    return Air(
        temperature=temperature,
        density=pressure / (GAS_CONSTANT * temperature),
        viscosity=1.458e-6 * root / (temperature + 110.4),
        conductivity=2.648151e-3 * root / (temperature + 245.4 * 10 ** (-12 / temperature)),
    )


def speed_of_sound(temperature: Number) -> Number:
    """Return the speed of sound in dry air [m/s] at `temperature` [K]: √(γ R T) with γ = 1.4, as in ISO 2533."""
    return np.sqrt(HEAT_RATIO * GAS_CONSTANT * np.asarray(temperature, dtype=np.float64))


def standard_air(altitude: Number = 0.0) -> Air:
    """Return ISO 2533 air at geometric `altitude` [m], up to 11 km geopotential; shape as `altitude`.

    Raises ValueError above the troposphere.
    """
    height = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
    if np.any(np.asarray(height) > TROPOPAUSE):
        raise ValueError("the standard atmosphere is known up to 11 km here")
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE * height
    power = STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE)
    return air_at(temperature, SEA_LEVEL_PRESSURE * (temperature / SEA_LEVEL_TEMPERATURE) ** power)


SEA_LEVEL = standard_air(0.0)
"""Air in flight, around wheels and motors: ISO 2533 at sea level, 15 °C."""


def sphere_coefficient(number: Number) -> Floats:
    """Return the drag coefficient [-] of a smooth sphere at Reynolds number `number` [-], up to 2e5.

    24/Re·(1 + 0.152·Re^0.677) + 0.417/(1 + 5070·Re^−0.94); Clift & Gauvin 1970, as the library fluids has it.
    """
    number = np.maximum(np.asarray(number, dtype=np.float64), 1e-9)
    return 24 / number * (1 + 0.152 * number**0.677) + 0.417 / (1 + 5070 * number**-0.94)


def sphere_reynolds(diameter: Number, speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the Reynolds number vD/ν [-] of a sphere of `diameter` [m] at `speed` [m/s]; shapes broadcast."""
    return np.asarray(speed * diameter / air.kinematic_viscosity, dtype=np.float64)


def lift_coefficient(parameter: Number) -> Floats:
    """Return the lift coefficient [-] of a spinning ball at spin parameter rΩ/v `parameter` [-]; 0 without spin.

    1.120 S/(0.583 + 2.333 S), fitted to thrown baseballs after Nathan, Am. J. Phys. 76 (2008) 119. Footballs (0.10 to
    0.33 for S of 0.04 to 0.40) lie 50 % above it at little spin and 12 % at much; tennis balls are lifted about as
    much, with large scatter (Cross & Lindsey, Sports Engineering 17 (2014) 89). A smooth ball may be lifted less, near
    Re = 1e5 even downwards: this coefficient is the greatest of them.
    """
    spin = np.abs(np.asarray(parameter, dtype=np.float64))
    return np.asarray(1.120 * spin / (0.583 + 2.333 * spin))


TRANSITION = 3e5
"""Reynolds number ωR²/ν where turbulence sets in [-]; with both coefficients as in FAST-OAD_CS23-HE (ISAE-SUPAERO),
windage of the ends of a rotor, after Touhami's thesis of 2020."""
LAMINAR = 3.87
"""Moment coefficient Cm·Re^½ of both faces in laminar flow [-]; von Kármán 1921, Schlichting."""
TURBULENT = 0.146
"""Moment coefficient Cm·Re^⅕ of both faces in turbulent flow [-]; von Kármán 1921, Schlichting."""
EXCESS = TURBULENT * TRANSITION**-0.2 - LAMINAR * TRANSITION**-0.5
"""Turbulent less laminar moment coefficient at the transition [-]: what the laminar core takes off."""


def reynolds(radius: Number, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return ωR²/ν [-] of a disc of `radius` [m] at `angular_speed` [rad/s]; shapes broadcast."""
    return np.asarray(angular_speed * radius**2 / air.kinematic_viscosity, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Disc:
    """Factors of a disc's windage moment [N m]: laminar·ω^1.5, above the transition turbulent·ω^1.8 − core·ω^−½.

    Cm is 3.87·Re^−½ in laminar and 0.146·Re^−⅕ in turbulent flow (1/7-power profile); what the laminar core takes off
    goes with its radius to the fifth, so with Re^−2.5.
    transition: angular speed at which the flow becomes turbulent [rad/s]. Shapes broadcast.
    """

    laminar: Floats
    turbulent: Floats
    core: Floats
    transition: Floats

    def moment(self, angular_speed: Floats) -> Floats:
        """Return ½·Cm·ρω²R⁵ [N m], both faces, at `angular_speed` ≥ 0 [rad/s]."""
        root = np.sqrt(angular_speed)
        smooth = self.laminar * (angular_speed * root)
        rough = angular_speed > self.transition
        if not rough.any():
            return smooth
        speed = np.where(rough, angular_speed, 1.0)
        return np.where(rough, self.turbulent * speed**1.8 - self.core / np.sqrt(speed), smooth)

    def slope(self, angular_speed: Floats) -> Floats:
        """Return the derivative of `moment` by angular speed [N m s]."""
        speed = np.maximum(angular_speed, 1e-9)
        rough = 1.8 * self.turbulent * speed**0.8 + 0.5 * self.core * speed**-1.5
        return np.where(speed > self.transition, rough, 1.5 * self.laminar * np.sqrt(speed))


def disc(radius: Number, air: Air = SEA_LEVEL) -> Disc:
    """Return the windage factors of a disc of `radius` [m]; shapes broadcast."""
    turn = np.asarray(radius**2 / air.kinematic_viscosity, dtype=np.float64)
    load = air.density * radius**5 / 2
    return Disc(
        laminar=LAMINAR * load * turn**-0.5,
        turbulent=TURBULENT * load * turn**-0.2,
        core=EXCESS * load * (TRANSITION / turn) ** 2.5,
        transition=TRANSITION / turn,
    )


def windage(wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the windage moment on both faces of `wheel`, without its rim [N m], at `angular_speed` [rad/s]."""
    return disc(wheel.radius, air).moment(np.asarray(angular_speed, dtype=np.float64))

"""Air: ISO 2533 standard atmosphere, and air at a given temperature and pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Number

GAS_CONSTANT = 287.05287
"""Specific gas constant of dry air [J/(kg K)]; ISO 2533."""
HEAT_CAPACITY = 1005.0
"""At constant pressure [J/(kg K)], near room temperature."""
HEAT_RATIO = 1.4
"""Ratio of specific heats of dry air [-]; ISO 2533."""
EARTH_RADIUS = 6_356_766.0
STANDARD_GRAVITY = 9.80665
SEA_LEVEL_TEMPERATURE, SEA_LEVEL_PRESSURE, LAPSE = 288.15, 101_325.0, 6.5e-3
TROPOPAUSE = 11_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """temperature [K]; pressure [Pa]; density [kg/m^3]; viscosity (dynamic) [Pa s]; conductivity [W/(m K)]."""

    temperature: Number
    pressure: Number
    density: Number
    viscosity: Number
    conductivity: Number

    @property
    def kinematic_viscosity(self) -> Number:
        """ν = μ/ρ [m^2/s]."""
        return self.viscosity / self.density

    @property
    def prandtl(self) -> Number:
        """μ c_p/λ [-]."""
        return self.viscosity * HEAT_CAPACITY / self.conductivity


def air_at(temperature: Number, pressure: Number = SEA_LEVEL_PRESSURE) -> Air:
    """Dry air at `temperature` [K] and `pressure` [Pa]; shapes broadcast.

    Ideal gas; Sutherland's viscosity 1.458e-6·T^1.5/(T + 110.4) and conductivity
    2.648151e-3·T^1.5/(T + 245.4·10^(−12/T)), both as in ISO 2533 (constants from memory).
    """
    root = temperature**1.5
    return Air(
        temperature=temperature,
        pressure=pressure,
        density=pressure / (GAS_CONSTANT * temperature),
        viscosity=1.458e-6 * root / (temperature + 110.4),
        conductivity=2.648151e-3 * root / (temperature + 245.4 * 10 ** (-12 / temperature)),
    )


def speed_of_sound(temperature: Number) -> Number:
    """Return the speed of sound in dry air [m/s] at `temperature` [K]: √(γ R T) with γ = 1.4, as in ISO 2533."""
    return np.sqrt(HEAT_RATIO * GAS_CONSTANT * np.asarray(temperature, dtype=np.float64))


def standard_air(altitude: Number = 0.0) -> Air:
    """ISO 2533 troposphere at geometric `altitude` [m], up to 11 km geopotential; shape as `altitude`.

    Raises ValueError above the troposphere.
    """
    height = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
    if np.any(np.asarray(height) > TROPOPAUSE):
        raise ValueError("the standard atmosphere is known up to 11 km here")
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE * height
    power = STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE)
    return air_at(temperature, SEA_LEVEL_PRESSURE * (temperature / SEA_LEVEL_TEMPERATURE) ** power)


SEA_LEVEL = standard_air(0.0)
"""Air around everything here, in flight, on wheels, around motors: ISO 2533 at sea level, 15 °C."""

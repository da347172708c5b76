"""Air properties against ISO 2533, tables and libraries."""

from __future__ import annotations

import fluids
import pytest

from stager.physics.air import air_at, standard_air
from tests.published.inventory import printed as compare

# ISO 2533:1975 = US 1976 at geometric altitude, as the libraries fluids and ambiance give it.
STANDARD = [
    (0, 288.15, 1.2250, 1.78938e-5),
    (500, 284.900, 1.167273, 1.77366e-5),
    (1000, 281.651, 1.111659, 1.75785e-5),
    (1500, 278.402, 1.058104, 1.74196e-5),
    (2000, 275.154, 1.006553, 1.72598e-5),
    (3000, 268.659, 0.909254, 1.69376e-5),
    (5000, 255.676, 0.736428, 1.62825e-5),
]
# CoolProp 8.0 at 101 325 Pa; 1 % covers any book's table.
WARM = [
    (293.15, 1.204575, 1.820568e-5, 0.0258738, 0.707956),
    (313.15, 1.127450, 1.916523e-5, 0.0273543, 0.705479),
    (353.15, 0.999515, 2.100893e-5, 0.0302253, 0.701652),
]


@pytest.mark.parametrize("altitude, temperature, density, viscosity", STANDARD)
def test_standard_atmosphere_matches_iso_2533(
    altitude: float, temperature: float, density: float, viscosity: float
) -> None:
    air = standard_air(altitude)
    assert air.temperature == pytest.approx(temperature, rel=1e-4)
    source = "ISO 2533:1975, by the libraries fluids and ambiance"
    compare("density of standard air (kg/m³)", source, density, air.density, rel=1e-4)
    assert air.viscosity == pytest.approx(viscosity, rel=1e-4)
    library = fluids.ATMOSPHERE_1976(altitude)
    assert air.density == pytest.approx(library.rho, rel=1e-5)


@pytest.mark.parametrize("temperature, density, viscosity, conductivity, prandtl", WARM)
def test_warm_air_matches_coolprop(
    temperature: float, density: float, viscosity: float, conductivity: float, prandtl: float
) -> None:
    air = air_at(temperature)
    compare("density of warm air (kg/m³)", "CoolProp 8.0", density, air.density, rel=1e-3)
    compare("viscosity of warm air (Pa s)", "CoolProp 8.0", viscosity, air.viscosity, rel=1e-2)
    compare("conductivity of warm air (W/m K)", "CoolProp 8.0", conductivity, air.conductivity, rel=1e-2)
    assert 1005.0 * air.viscosity / air.conductivity == pytest.approx(prandtl, rel=2e-2)  # J/(kg K), air


def test_altitude_above_11_km_is_refused() -> None:
    with pytest.raises(ValueError, match="11 km"):
        standard_air(12_000.0)

"""Fins, rotating surfaces and copper against textbooks and the library ht."""

from __future__ import annotations

from typing import Any

import ht
import numpy as np
import pytest
from scipy.integrate import solve_bvp

from stager.model.stage import INSULATION, Heat, Wheel, WheelMaterial
from stager.physics.air import SEA_LEVEL, Air, air_at
from stager.physics.heat import (
    FREE_CONVECTION,
    MOTOR_FILM,
    TRANSITION,
    annular_efficiency,
    disc_film,
    disc_nusselt,
    hub_conductance,
    motor_conductance,
)
from stager.physics.motor import warm_factor
from tests.published.inventory import printed as compare


def test_annular_fin_of_the_library() -> None:
    # ht's docstring: 25.4 mm root, 57.15 mm tip, 0.38 mm, 200 W/(m K), 58 W/(m² K): 0.84125886202311.
    found = annular_efficiency(0.0254 / 2, 0.05715 / 2, 3.8e-4, 200.0, 58.0)
    source = "library ht, example of Kern and Kraus"
    compare("efficiency of an annular fin (-)", source, 0.84125886202311, found, rel=1e-9)


@pytest.mark.parametrize("film", [5.0, 50.0, 500.0, 50_000.0])
def test_annular_fins_agree_with_the_library(film: float) -> None:
    here = annular_efficiency(0.0125, 0.030, 1e-3, 180.0, film)
    assert here == pytest.approx(ht.fin_efficiency_Kern_Kraus(0.025, 0.06, 1e-3, 180.0, film), rel=1e-9)


def test_annular_fin_of_holman_2_9() -> None:
    # Holman, Heat Transfer, example 2.9: tube 25 mm, fin 1 mm thick and 15 mm long, 200 W/(m K), 130 W/(m² K), 170 and
    # 25 °C. The chart's 0.82 gives 60.97 W in print; the exact efficiency at corrected length 0.866905 gives 64.454 W.
    root, length, thickness, film = 0.0125, 0.015, 1e-3, 130.0
    tip = root + length + thickness / 2
    efficiency = annular_efficiency(root, tip, thickness, 200.0, film)
    assert efficiency == pytest.approx(0.866905, rel=1e-5)
    heat = efficiency * 2 * np.pi * (tip**2 - root**2) * film * 145
    assert heat == pytest.approx(64.454, rel=1e-4)
    source = "Holman, example 2.9, in FOSSEE/Scilab-TBC-Uploads, 405"
    compare("heat of an annular fin, by chart (W)", source, 60.97, heat, rel=7e-2)


def test_finned_cylinder_of_incropera() -> None:
    # Incropera: cylinder 0.15 m by 50 mm at 500 K in air of 300 K, 50 W/(m² K), five fins of 6 mm by 20 mm (from
    # memory), 186 W/(m K): 704.66 W with the exact efficiency, 690 W in the book by its chart.
    film, rise, root, tip, thickness = 50.0, 200.0, 0.025, 0.045 + 0.003, 0.006
    efficiency = annular_efficiency(root, tip, thickness, 186.0, film)
    assert efficiency == pytest.approx(0.978552, rel=1e-5)
    between = 2 * np.pi * root * (0.15 - 5 * thickness)
    heat = film * rise * (efficiency * 5 * 2 * np.pi * (tip**2 - root**2) + between)
    assert heat == pytest.approx(704.66, rel=1e-4)
    compare("heat of a finned cylinder, by chart (W)", "Incropera, ch. 3", 690.0, heat, rel=3e-2, read=False)


def _straight_efficiency(length: float, thickness: float, conductivity: float, film: float) -> float:
    """Return tanh(mL)/(mL) with m = √(2h/(kt)), the efficiency of a straight fin with an insulated tip [-]."""
    slope = np.sqrt(2 * film / (conductivity * thickness)) * length
    return float(np.tanh(slope) / slope)


@pytest.mark.parametrize("length", [1e-3, 0.03, 0.3])
def test_annular_fin_far_from_its_axis_is_straight(length: float) -> None:
    found = annular_efficiency(1e3, 1e3 + length, 1e-3, 200.0, 50.0)
    assert found == pytest.approx(_straight_efficiency(length, 1e-3, 200.0, 50.0), rel=1e-3)


def _von_karman(prandtl: float) -> float:
    """Return Nu/√Re of an isothermal disc rotating in still fluid, laminar: −θ'(0) of the similarity solution.

    von Kármán 1921: H' = −2F, F'' = F² − G² + F'H, G'' = 2FG + G'H, θ'' = Pr·Hθ'; F = H = 0, G = θ = 1 on the disc,
    F = G = θ = 0 far from it.
    """

    def slopes(_: Any, y: Any) -> Any:
        f, df, g, dg, h, _theta, dtheta = y
        return np.array([df, f**2 - g**2 + df * h, dg, 2 * f * g + dg * h, -2 * f, dtheta, prandtl * h * dtheta])

    def ends(disc: Any, far: Any) -> Any:
        return np.array([disc[0], disc[2] - 1, disc[4], disc[5] - 1, far[0], far[2], far[5]])

    z = np.linspace(0.0, 20.0, 200)
    guess = np.array(
        [0.5 * z * np.exp(-z), 0 * z, np.exp(-z), -np.exp(-z), -0.9 * (1 - np.exp(-z)), np.exp(-z / 3), 0 * z]
    )
    found = solve_bvp(slopes, ends, z, guess, tol=1e-8, max_nodes=20_000)
    assert found.success
    assert found.y[1, 0] == pytest.approx(0.510232618867, rel=1e-6)  # F'(0), generator of numberdb.org, T421
    return float(-found.y[6, 0])


def test_nusselt_number_of_a_laminar_disc() -> None:
    # 0.326·√Re in air (Pr 0.71) from the equations; Cobb & Saunders measured 0.36, 10 % more.
    exact = _von_karman(0.71)
    assert exact == pytest.approx(0.326, abs=5e-4)
    source = "Cobb & Saunders, as read in an open thermal model of motors"
    compare("Nusselt number of a laminar disc by Re^½ (-)", source, 0.36, disc_nusselt(1.0), rel=0.1)
    for number in (1e4, 1e5, 2e5):
        assert disc_nusselt(number) == pytest.approx(exact * np.sqrt(number), rel=2e-3)


@pytest.mark.parametrize("conductivity, warm", [(160.0, (0.97, 1.0)), (0.2, (0.02, 0.08))])
def test_wheel_cools_as_a_fin_of_its_material(conductivity: float, warm: tuple[float, float]) -> None:
    # Aluminium is nearly isothermal; PETG (0.2 W/m K) gives off a few per cent of that (our range).
    material = WheelMaterial(name="hub", density=1270.0, conductivity=conductivity)
    wheel = Wheel(radius=0.03, width=0.015, bore=0.005, material=material)
    speed = 14.0 / 0.03
    film = float(disc_film(0.03, speed, SEA_LEVEL))
    whole = 2 * np.pi * (0.03**2 - 0.0025**2) * film
    efficiency = float(hub_conductance(wheel, speed)) / whole
    assert warm[0] < efficiency < warm[1]
    # Upper bound: a straight fin of the same length, as a ring has more of its area far out (Incropera, ch. 3).
    assert efficiency <= _straight_efficiency(0.03 - 0.0025, 0.015, conductivity, film)


def test_motor_surface_from_its_heat_capacity() -> None:
    # 45 J/K at 2.5 MJ/(m³ K) is 18 cm³, a cylinder of 28.4 mm by 28.4 mm with 38 cm²: 26 K/W at 10 W/(m² K).
    heat = Heat(winding_capacity=9.0, winding_to_case=1.8, case_capacity=45.0)
    assert 1 / float(motor_conductance(heat)) == pytest.approx(26.3, rel=5e-3)


def test_nusselt_number_of_a_turbulent_disc() -> None:
    # 0.015·Re^0.8 for a fully turbulent disc, from 2.4e5 on (Dorfman; Cobb & Saunders; both as read in an open thermal
    # model of motors): 946.4 at 1e6; a laminar core lowers it.
    assert 0.9 * 946.4 < disc_nusselt(1e6) < 946.4
    assert disc_nusselt(1e9) == pytest.approx(0.015 * 1e9**0.8, rel=1e-3)
    below, above = disc_nusselt(np.array([TRANSITION * (1 - 1e-9), TRANSITION * (1 + 1e-9)]))
    assert below == pytest.approx(above, rel=1e-7)


def test_standing_disc_has_free_convection() -> None:
    assert disc_film(0.04, 0.0, SEA_LEVEL) == FREE_CONVECTION


def _grashof(length: float, rise: float) -> tuple[float, Air]:
    """Return the Grashof number [-] over `length` [m], `rise` [K] above 20 °C, and the air between."""
    air = air_at(293.15 + rise / 2)
    return 9.80665 * rise / air.temperature * length**3 / float(air.kinematic_viscosity) ** 2, air


def test_film_of_a_standing_plate_matches_the_library() -> None:
    # Churchill's correlation of vertical plates: 60 mm, 10 and 20 K above the air: 4.8 and 5.7 W/(m² K).
    for rise in (10.0, 20.0):
        number, air = _grashof(0.060, rise)
        film = ht.Nu_vertical_plate_Churchill(0.71, number) * float(air.conductivity) / 0.060
        assert pytest.approx(film, rel=0.15) == FREE_CONVECTION


def test_film_of_a_motor_case_matches_the_library() -> None:
    # Churchill & Chu's correlation of horizontal cylinders and Stefan & Boltzmann's law at emissivity 0.5 (bare metal
    # to painted), 28 mm, 40 K above 20 °C: 6.9 and 3.5 W/(m² K).
    number, air = _grashof(0.028, 40.0)
    convection = ht.Nu_horizontal_cylinder_Churchill_Chu(0.71, number) * float(air.conductivity) / 0.028
    radiation = 0.5 * 5.670374e-8 * (333.15**4 - 293.15**4) / 40.0
    assert convection + radiation == pytest.approx(MOTOR_FILM, rel=0.05)


@pytest.mark.parametrize("celsius, ratio", [(20, 1.0), (90, 1.2751), (100, 1.3144), (155, 1.53055)])
def test_copper_resistance_rises_by_iec_60028(celsius: float, ratio: float) -> None:
    # IEC 60028: 3.93e-3 /K from 20 °C; the older rule (234.5 + T)/254.5 agrees within 5e-5.
    assert warm_factor(celsius + 273.15) == pytest.approx(ratio, rel=1e-4)
    assert warm_factor(celsius + 273.15) == pytest.approx((234.5 + celsius) / 254.5, rel=1e-3)


def test_temperature_coefficient_of_copper() -> None:
    steepness = (warm_factor(393.15) - warm_factor(293.15)) / 100
    compare("temperature coefficient of copper (1/K)", "IEC 60028", 3.93e-3, steepness, rel=1e-6)


@pytest.mark.parametrize("name, celsius", [("A", 105), ("E", 120), ("B", 130), ("F", 155), ("H", 180), ("N", 200)])
def test_insulation_classes_match_iec_60085(name: str, celsius: float) -> None:
    # IEC 60085:2007.
    compare("thermal class (K)", "IEC 60085:2007", celsius + 273.15, INSULATION[name], rel=1e-6)

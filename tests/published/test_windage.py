"""Air friction of rotating discs against theory."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from stager.model.arrays import Floats
from stager.physics.air import (
    LAMINAR,
    TRANSITION,
    TURBULENT,
    Air,
    disc,
    reynolds,
)
from tests.published.inventory import printed as compare

AIR = Air(temperature=288.15, density=1.225, viscosity=1.225 * 1.4607e-5, conductivity=0.0253)


def _coefficient(number: float, radius: float = 0.05) -> float:
    """Return Cm [-], moment / ½ρω²R⁵, of a disc of `radius` [m] at Reynolds number `number` [-]."""
    speed = number * AIR.kinematic_viscosity / radius**2
    return float(disc(radius, AIR).moment(np.array(speed))) / (AIR.density * speed**2 * radius**5 / 2)


def _turbulent(number: float, radius: float = 0.05) -> float:
    """Return Cm [-] without the laminar core."""
    speed = number * AIR.kinematic_viscosity / radius**2
    whole = replace(disc(radius, AIR), core=np.zeros(()), transition=np.zeros(()))
    return float(whole.moment(np.array(speed))) / (AIR.density * speed**2 * radius**5 / 2)


def test_laminar_moment_matches_the_von_karman_flow() -> None:
    # von Kármán's equations for the free disc, solved here; Cm·√Re = −2π·G'(0). Three constants of the flow as printed
    # in the generator of numberdb.org, table T421; the third after Miklavčič & Wang.
    def rates(z: Floats, y: Floats) -> Floats:
        f, df, g, dg, h = y
        return np.array([df, f**2 - g**2 + h * df, dg, 2 * f * g + h * dg, -2 * f])

    def ends(start: Floats, end: Floats) -> Floats:
        return np.array([start[0], start[2] - 1, start[4], end[0], end[2]])

    z = np.linspace(0, 20, 400)
    fade = np.exp(-z)
    guess = np.array([0.5 * z * fade, 0.5 * (1 - z) * fade, fade, -fade, -0.88 * (1 - fade)])
    found = solve_bvp(rates, ends, z, guess, tol=1e-8, max_nodes=20_000)
    assert found.y[1, 0] == pytest.approx(0.510232618867, rel=1e-6)
    assert found.y[3, 0] == pytest.approx(-0.615922014399, rel=1e-6)
    assert found.y[4, -1] / -2 == pytest.approx(0.442237055104, rel=1e-5)
    moment = 2 * np.pi * 0.615922014399
    compare("moment coefficient of a laminar disc by Re^½ (-)", "numberdb.org, T421", moment, LAMINAR, rel=1e-4)


@pytest.mark.parametrize("number, printed", [(877_263.3, 0.0094564), (732_721.46, 0.009803)])
def test_moment_coefficient_of_the_ends_of_a_rotor(number: float, printed: float) -> None:
    # Tests of FAST-OAD_CS23-HE (ISAE-SUPAERO): rotor_end_friction_coeff, without a laminar core.
    source = "FAST-OAD_CS23-HE, windage of a rotor's ends"
    compare("moment coefficient of a turbulent disc (-)", source, printed, _turbulent(number), rel=1e-4)
    assert _coefficient(number) < _turbulent(number)


@pytest.mark.parametrize(
    "number, laminar, turbulent",
    [(1e4, 0.038700, 0.023139), (1e5, 0.0122380, 0.0146000), (3e5 - 1, 0.0070656, 0.0117200)],
)
def test_laminar_and_turbulent_moment_coefficients(number: float, laminar: float, turbulent: float) -> None:
    # 3.87·Re^−½ and 0.146·Re^−⅕, both faces; as in Bird, Stewart & Lightfoot, Transport Phenomena, ch. 6.
    assert _coefficient(number) == pytest.approx(laminar, rel=1e-4)
    assert _turbulent(number) == pytest.approx(turbulent, rel=1e-4)


@pytest.mark.parametrize("number, turbulent", [(1e6, 0.0092120), (1e7, 0.0058124)])
def test_laminar_core_matters_less_the_faster_the_disc(number: float, turbulent: float) -> None:
    # The turbulent law as above. Of the faces' radius (3e5/Re)^½ is laminar, of the moment its fifth power.
    assert _turbulent(number) == pytest.approx(turbulent, rel=1e-4)
    core = (TRANSITION / number) ** 2.5
    assert _coefficient(number) == pytest.approx(turbulent - core * (0.0117200 - 0.0070656), rel=1e-4)


def test_moments_match_transport_phenomena() -> None:
    # Bird, Stewart & Lightfoot: 0.616·π·ρR⁴√(νω³) laminar, 0.073·ρω²R⁵(ν/(R²ω))^0.2 turbulent.
    source = "Bird, Stewart & Lightfoot, ch. 6 (crazyforstudy.com, 1339844)"
    compare("moment coefficient of a laminar disc by Re^½ (-)", source, 2 * 0.616 * np.pi, LAMINAR, rel=1e-3)
    compare("moment coefficient of a turbulent disc by Re^⅕ (-)", source, 2 * 0.073, TURBULENT, rel=1e-3)
    radius, speed, nu = 0.05, 1000.0, AIR.kinematic_viscosity
    torque = disc(radius, AIR).moment(np.array(speed))
    assert torque == pytest.approx(0.616 * np.pi * AIR.density * radius**4 * np.sqrt(nu * speed**3), rel=1e-3)
    rough = AIR.density * speed**2 * radius**5 / 2 * _turbulent(float(reynolds(radius, speed, AIR)))
    assert rough == pytest.approx(0.073 * AIR.density * speed**2 * radius**5 * (nu / radius**2 / speed) ** 0.2)


def test_power_of_a_disc_at_10000_rpm() -> None:
    # R 0.05 m at 10 000 rpm in air of 1.225 kg/m³: Re 1.792e5, 1.919e-3 N m, 2.009 W (arithmetic).
    speed = 10_000 * 2 * np.pi / 60
    assert reynolds(0.05, speed, AIR) == pytest.approx(1.792e5, rel=5e-3)
    torque = disc(0.05, AIR).moment(np.array(speed))
    assert torque == pytest.approx(1.919e-3, rel=5e-3)
    assert torque * speed == pytest.approx(2.009, rel=5e-3)


def test_power_at_20000_rpm_lies_between_both_laws() -> None:
    # R 0.05 m at 20 000 rpm: Re 3.585e5; 11.37 W if fully laminar, 19.89 W if fully turbulent (arithmetic).
    speed = 20_000 * 2 * np.pi / 60
    number = float(reynolds(0.05, speed, AIR))
    assert number == pytest.approx(3.585e5, rel=5e-3)
    per_coefficient = AIR.density * speed**3 * 0.05**5 / 2
    assert _coefficient(TRANSITION) * (TRANSITION / number) ** 0.5 * per_coefficient == pytest.approx(11.37, rel=5e-3)
    assert _turbulent(number) * per_coefficient == pytest.approx(19.89, rel=5e-3)
    assert 11.37 < disc(0.05, AIR).moment(np.array(speed)) * speed < 19.89


def test_moment_scales_with_radius_and_speed() -> None:
    # Exact exponents: laminar power goes with ω^2.5 R^4, turbulent with ω^2.8 R^4.6.
    slow, fast = disc(0.02, AIR).moment(np.array([100.0, 200.0]))
    assert fast / slow == pytest.approx(2**1.5, rel=1e-12)
    assert disc(0.04, AIR).moment(np.array(100.0)) / slow == pytest.approx(2**4, rel=1e-12)
    assert _turbulent(2e6) / _turbulent(1e6) == pytest.approx(2**-0.2, rel=1e-12)
    assert _turbulent(1e6, radius=0.1) == pytest.approx(_turbulent(1e6), rel=1e-12)


def test_moment_coefficient_is_continuous_at_transition() -> None:
    below, above = _coefficient(TRANSITION * (1 - 1e-9)), _coefficient(TRANSITION * (1 + 1e-9))
    assert below == pytest.approx(above, rel=1e-8)
    # The laws cross at Re = 55 530, where the flow is laminar still.
    assert _coefficient(55_530.0) == pytest.approx(_turbulent(55_530.0), rel=1e-3)
    assert _coefficient(1e8) == pytest.approx(_turbulent(1e8), rel=1e-3)


def test_slope_is_the_derivative_of_the_moment() -> None:
    plate = disc(0.08, AIR)
    for speed in (50.0, 400.0, 2000.0):
        near = plate.moment(np.array([speed * (1 - 1e-6), speed * (1 + 1e-6)]))
        assert plate.slope(np.array(speed)) == pytest.approx((near[1] - near[0]) / (2e-6 * speed), rel=1e-6)

"""Drag, flight, wobble, eye injuries and toy limits against rules, tables and the library fluids."""

from __future__ import annotations

import fluids
import numpy as np
import pytest
from scipy.optimize import brentq

from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, Projectile
from stager.physics.air import (
    SEA_LEVEL,
    STANDARD_GRAVITY,
    Air,
    sphere_coefficient,
    sphere_reynolds,
)
from stager.physics.barrel import AIR_DENSITY, BLUNT_DRAG, ROUND_DRAG
from stager.physics.flight import (
    Arrival,
    Release,
    fall_line,
    farthest,
    glide_range,
    inertia_ratio,
    land,
    spin_parameter,
    vacuum_range,
    wobble_rate,
)
from stager.physics.mechanics import translation_energy
from stager.physics.safety import EYE_INJURIES, TOY_LIMITS, likely_injuries
from tests.published.inventory import printed as compare

TABLE_TENNIS = Projectile(shape=HOLLOW_BALL, mass=2.7e-3, diameter=0.040)  # ITTF law 2.3
PUCK = Projectile(shape=DISC, mass=0.163, diameter=0.0762, thickness=0.0254)  # IIHF rule 47: 156–170 g, 3 × 1 in
AIR = Air(temperature=288.15, density=1.225, viscosity=1.789e-5, conductivity=0.0253)


def test_constant_drag_of_balls_and_blunt_bodies_in_a_guide() -> None:
    # Fig. 5.13: a sphere below the drag crisis, cylinders along the flow 0.85 to 0.99.
    source = "Aeronautical Engineer's Data Book, fig. 5.13"
    compare("drag coefficient of a sphere (-)", source, 0.45, ROUND_DRAG, rel=5e-2)
    compare("drag coefficient of a blunt cylinder (-)", source, 0.99, BLUNT_DRAG, rel=2e-2)
    # The air in a guide is that of the flight behind it, ISO 2533 at sea level.
    assert pytest.approx(SEA_LEVEL.density, rel=1e-4) == AIR_DENSITY


@pytest.mark.parametrize(
    "number, library, others",
    [(1.0, 27.648082, 26.5363), (10.0, 4.134738, 4.3654), (100.0, 1.070389, 1.0780), (200.0, 0.790540, 0.7682),
     (1e3, 0.463867, 0.4674), (1e4, 0.410315, 0.4108), (1e5, 0.467454, 0.4667)],
)  # fmt: skip
def test_sphere_drag_coefficient_matches_fluids(number: float, library: float, others: float) -> None:
    # Clift & Gauvin as in fluids 1.3.1, and within 5 % of Barati's curve (fluids' default).
    assert sphere_coefficient(number) == pytest.approx(library, rel=1e-6)
    assert sphere_coefficient(number) == pytest.approx(fluids.drag.Clift_Gauvin(number), rel=1e-12)
    assert sphere_coefficient(number) == pytest.approx(others, rel=6e-2)


@pytest.mark.parametrize(
    "diameter, mass, speed, number, terminal",
    [(0.040, 2.7e-3, 15.0, 41_084, 8.7412), (0.067, 0.058, 30.0, 1.3763e5, 23.701),
     (0.0427, 0.0459, 40.0, 1.1695e5, 33.151)],
)  # fmt: skip
def test_reynolds_number_and_terminal_speed_of_balls(
    diameter: float, mass: float, speed: float, number: float, terminal: float
) -> None:
    # Reynolds numbers and terminal speeds by fluids with Barati's curve; two curves differ by a few per cent.
    assert sphere_reynolds(diameter, speed, AIR) == pytest.approx(number, rel=1e-3)
    # v² approaches its steady value as 1 − exp(−2gh/v²), to 5e-5 in this fall.
    ball, height = Projectile(shape=BALL, mass=mass, diameter=diameter), 5 * terminal**2 / STANDARD_GRAVITY
    found = float(_dropped(ball, 0.0, height).speed)
    compare("terminal speed of a ball (m/s)", "library fluids, Barati's curve", terminal, found, rel=1e-2)
    density = mass / (np.pi / 6 * diameter**3)
    library = fluids.v_terminal(D=diameter, rhop=density, rho=1.225, mu=1.789e-5, Method="Clift_Gauvin")
    assert found == pytest.approx(library, rel=2e-2)  # the library subtracts buoyancy


def _dropped(ball: Projectile, speed: float, height: float, air: Air = AIR) -> Arrival:
    """Return the landing of a ball thrown down at `speed` [m/s] from `height` [m]."""
    return land(Release(projectile=ball, speed=speed, height=height, tilt=-np.pi / 2, air=air))


def test_range_without_air() -> None:
    # v²/g from the ground at 45°, v/g·√(v² + 2gh) from a height: school mechanics.
    assert vacuum_range(20.0) == pytest.approx(400 / STANDARD_GRAVITY)
    angles = np.linspace(0, np.pi / 2, 20_001)
    up, along = 20 * np.sin(angles), 20 * np.cos(angles)
    fall = along * (up + np.sqrt(up**2 + 2 * STANDARD_GRAVITY * 1.5)) / STANDARD_GRAVITY
    assert vacuum_range(20.0, 1.5) == pytest.approx(fall.max(), rel=1e-7)


def test_range_with_drag_is_shorter() -> None:
    heavy = Projectile(shape=BALL, mass=1e6, diameter=0.04)
    thrown = Release(projectile=heavy, speed=20.0, height=1.5)
    assert farthest(thrown) == pytest.approx(vacuum_range(20.0, 1.5), rel=1e-4)
    speeds = np.array([5.0, 10.0, 20.0, 40.0])
    found = farthest(Release(projectile=TABLE_TENNIS, speed=speeds, height=1.0))
    assert (np.diff(found) > 0).all()
    assert (found < vacuum_range(speeds, 1.0)).all()
    assert [fall_line(speed, TABLE_TENNIS, 1.0).drag for speed in speeds] == pytest.approx(list(found), rel=1e-9)


def test_danger_range_of_ball_and_disc() -> None:
    ball, flat = fall_line(20.0, TABLE_TENNIS, 1.5), fall_line(20.0, PUCK, 1.5)
    assert ball.drag is not None
    assert ball.drag < ball.vacuum == flat.vacuum
    assert flat.drag is None
    assert flat.glide == glide_range(20.0, PUCK, 1.5)
    assert "farther" in flat.caution


def test_falling_sphere_matches_fluids() -> None:
    # fluids.integrate_drag_sphere: 1 mm of 2200 kg/m³ thrown down at 30 m/s in 1.2 kg/m³ and 1.78e-5 Pa s: 9.68646 m/s
    # and 7.82945 m after 0.5 s, with Barati's curve. The library subtracts buoyancy, 0.05 % of the weight.
    air = Air(temperature=288.15, density=1.2, viscosity=1.78e-5, conductivity=0.0253)
    ball = Projectile(shape=BALL, mass=2200 * np.pi / 6 * 1e-9, diameter=1e-3)
    way = brentq(lambda height: float(_dropped(ball, 30.0, height, air).time) - 0.5, 5.0, 10.0)
    source = "library fluids, example of its manual"
    compare("speed of a falling sphere (m/s)", source, 9.68646, _dropped(ball, 30.0, way, air).speed, rel=1e-2)
    compare("way of a falling sphere (m)", source, 7.82945, way, rel=1e-2)


def test_spin_parameter_of_a_thrown_disc() -> None:
    # Hummel, MS thesis UC Davis 2003: 54 rad/s at 13.5 m/s, area 0.057 m²: advance ratio 0.5388 by arithmetic.
    disc = Projectile(shape=DISC, mass=0.175, diameter=float(np.sqrt(4 * 0.057 / np.pi)))
    assert spin_parameter(54.0, 13.5, disc) == pytest.approx(0.5388, rel=1e-4)
    assert spin_parameter(54.0, 0.0, disc) == 0.0


def test_wobble_rate_of_plate_sphere_and_disc() -> None:
    # A thin plate wobbles at twice its spin; a sphere at its spin (rigid bodies, any text). The flying disc of Hummel's
    # thesis has Ia/Id = 1.9295: between a thick disc and the thin limit.
    thin = Projectile(shape=DISC, mass=0.1, diameter=0.2, thickness=1e-6)
    assert wobble_rate(10.0, thin) == pytest.approx(20.0, rel=1e-9)
    assert wobble_rate(10.0, TABLE_TENNIS) == 10.0
    assert inertia_ratio(Projectile(shape=RING, mass=0.1, diameter=0.2)) == pytest.approx(2.0)
    assert 1.0 < float(inertia_ratio(PUCK)) < 0.002352 / 0.001219 < 2.0


def test_cylinder_of_equal_moments_does_not_precess_about_its_spin() -> None:
    # ½mr² about the axis and m(3r² + t²)/12 across it (any text) are equal at t = √3·r: the ratio is that of a sphere.
    cylinder = Projectile(shape=DISC, mass=0.1, diameter=0.08, thickness=0.04 * np.sqrt(3))
    assert inertia_ratio(cylinder) == pytest.approx(1.0, rel=1e-12)


def test_frontal_area_of_a_puck() -> None:
    assert PUCK.frontal_area == pytest.approx(0.0762 * 0.0254)


def test_energy_of_a_table_tennis_ball() -> None:
    # 2.7 g reach 0.5 J at 19.245 m/s (arithmetic from ITTF law 2.3).
    assert translation_energy(19.245, TABLE_TENNIS) == pytest.approx(0.5, rel=1e-4)


@pytest.mark.parametrize("diameter, per_area", [(0.010, 1018.6), (0.013, 602.7), (0.025, 163.0), (0.040, 63.66)])
def test_energy_per_area_of_small_balls(diameter: float, per_area: float) -> None:
    # 0.08 J on a round face (arithmetic).
    ball = Projectile(shape=BALL, mass=0.16, diameter=diameter)
    assert translation_energy(1.0, ball) / ball.frontal_area == pytest.approx(per_area, rel=1e-3)


def test_eye_injury_risks_match_duma() -> None:
    # Duma et al., J. Trauma 59 (2005) 960, abstract: 50 % risks, kg/s².
    risks = {injury.name: injury.half_risk for injury in EYE_INJURIES}
    assert risks == {
        "corneal abrasion": 1503, "lens dislocation": 19_194, "hyphema": 20_188, "globe rupture": 23_771,
        "retinal damage": 30_351,
    }  # fmt: skip
    assert list(risks.values()) == sorted(risks.values())
    assert likely_injuries(1000.0) == ()
    assert [injury.name for injury in likely_injuries(21_000.0)] == ["corneal abrasion", "lens dislocation", "hyphema"]


def test_toy_limits_match_their_standards() -> None:
    # ASTM F963-17: 2500 J/m² above 0.08 J (a test laboratory's bulletin); EN 71-1 before A1:2018: 0.5 J resilient,
    # 0.08 J rigid (a trading-standards page).
    american, resilient, rigid = TOY_LIMITS
    assert (american.energy, american.energy_per_area) == (0.08, 2500.0)
    assert (resilient.energy, rigid.energy) == (0.5, 0.08)
    assert american.keeps(0.07, None)
    assert american.keeps(1.0, 1 / 2500)
    assert american.keeps(1.0, 1 / 2501) is False
    assert american.keeps(0.081, None) is None
    assert rigid.keeps(0.081, None) is False
    # The toy limit lies between the 50 % risks of a corneal abrasion and of a lens dislocation.
    assert EYE_INJURIES[0].half_risk < american.energy_per_area < EYE_INJURIES[1].half_risk

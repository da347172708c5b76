"""Stress and burst of rotating discs and rings against textbook numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from stager.model.stage import Hold, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.wheel import (
    TYRE_MATERIALS,
    WHEEL_MATERIALS,
    allowable_speed,
    burst_speed,
    greatest_hoop,
    hub_growth,
    mean_hoop,
    peak_hoop,
    pulled_hoop,
    rim_safety,
)

# University tutorial "TUT-4 Rotating discs", example 1.1: radii 0.18 and 0.36 m, 160 rad/s, ν 0.33, 7700 kg/m³.
TUTORIAL = (0.36, 0.18, 7700 * 160.0**2)


def _hoop(radius: float, outer: float, inner: float, load: float, poisson: float) -> float:
    """Return the hoop stress at `radius` [Pa], (3 + ν)/8·ρω²·(b² + a² + a²b²/r² − (1 + 3ν)/(3 + ν)·r²); Roark."""
    crossed = (inner * outer / radius) ** 2 if inner else 0.0
    bend = (1 + 3 * poisson) / (3 + poisson) * radius**2
    return (3 + poisson) / 8 * load * (outer**2 + inner**2 + crossed - bend)


def test_hoop_stress_at_the_bore() -> None:
    # The tutorial prints 21.80 MPa, which its own formula does not give.
    outer, inner, load = TUTORIAL
    assert greatest_hoop(outer, inner, load, 0.33) == pytest.approx(22.337e6, rel=1e-4)
    assert _hoop(inner, outer, inner, load, 0.33) == pytest.approx(22.337e6, rel=1e-4)


def test_mean_hoop_stress_is_the_integral_mean() -> None:
    # Identity; 14.9023 MPa for the tutorial's disc.
    outer, inner, load = TUTORIAL
    total, _ = quad(lambda r: _hoop(r, outer, inner, load, 0.33), inner, outer)
    assert total / (outer - inner) == pytest.approx(14.9023e6, rel=1e-5)
    assert mean_hoop(outer, inner, load) == pytest.approx(total / (outer - inner), rel=1e-12)


def test_burst_speed_of_a_grey_iron_disc() -> None:
    # Class exercise after Shigley: class 30 iron, 12 in by 1 in, bore hoop = 31 000 psi; grey iron has ν 0.22 and
    # 14 slug/ft³ (ecoursesbook.com, material properties): 12 009 rpm by arithmetic, no answer printed.
    inch, psi = 0.0254, 6894.757
    density = 14 * 515.3788
    iron = WheelMaterial(name="iron", density=density, poisson=0.22, tensile_strength=31_000 * psi, brittle=True)
    wheel = Wheel(radius=6 * inch, bore=1 * inch, material=iron)
    rpm = burst_speed(wheel) / wheel.radius * 60 / (2 * np.pi)
    assert rpm == pytest.approx(12_009, rel=1e-4)


def test_stresses_of_an_abrasive_wheel() -> None:
    # A cut-off wheel of 6 in with a bore of 1 in, 1/16 in thick, 6 oz, at 10 000 rpm, ν 0.20: psi by arithmetic.
    load = 5.655e-4 * 1047.2**2  # in lbf, in, s
    assert greatest_hoop(3.0, 0.5, load, 0.20) == pytest.approx(4496, rel=1e-3)


def test_release_speed_of_a_shrunk_ring() -> None:
    # Hearn, Mechanics of Materials 2, example 4.1: steel ring 300 by 200 mm on a shaft; pressed by 30 MPa at speed,
    # hoop at the bore 240 MPa, 7470 kg/m³, ν 0.3: 9867 rpm by the book's method (our arithmetic).
    outer, inner, density = 0.15, 0.10, 7470.0
    pressed = 30e6 * (outer**2 + inner**2) / (outer**2 - inner**2)
    per_load = float(greatest_hoop(outer, inner, 1.0, 0.3))
    speed = np.sqrt((240e6 - pressed) / (density * per_load))
    assert speed * 60 / (2 * np.pi) == pytest.approx(9867, rel=1e-4)


def test_pinhole_doubles_the_stress() -> None:
    # Solid steel disc, R 0.15 m, 10 000 rpm, ν 0.3: 79.898 MPa; a graduate text: a small hole doubles it.
    load = 7850 * (10_000 * 2 * np.pi / 60) ** 2
    solid = greatest_hoop(0.15, 0.0, load, 0.3)
    assert solid == pytest.approx(79.898e6, rel=1e-4)
    assert greatest_hoop(0.15, 1e-9, load, 0.3) == pytest.approx(159.795e6, rel=1e-4)
    assert _hoop(0.0, 0.15, 0.0, load, 0.3) == pytest.approx(solid, rel=1e-12)


@given(
    radius=st.floats(0.01, 0.2),
    bore=st.floats(0.0, 0.9),
    speed=st.floats(1.0, 150.0),
    poisson=st.floats(0.1, 0.45),
    modulus=st.floats(1e9, 3e11),
)
def test_hub_growth_is_the_rim_hoop_strain(
    radius: float, bore: float, speed: float, poisson: float, modulus: float
) -> None:
    # A free rim bears no radial stress, so its strain is its hoop stress by the modulus.
    material = WheelMaterial(name="hub", density=1270.0, poisson=poisson, modulus=modulus)
    wheel = Wheel(radius=radius, bore=2 * bore * radius, material=material, solid=bore == 0.0)
    stress = _hoop(radius, radius, bore * radius, 1270.0 * (speed / radius) ** 2, poisson)
    assert hub_growth(wheel, speed / radius) == pytest.approx(radius * stress / modulus, rel=1e-9)


def test_hoop_stress_of_a_thin_ring() -> None:
    # ρu² (Carvill, Mechanical Engineer's Data Handbook, 1.2.7): 7850 kg/m³ at 100 m/s is 78.5 MPa.
    assert greatest_hoop(1.0, 0.9999, 7850.0 * 100.0**2, 0.3) == pytest.approx(78.5e6, rel=1e-3)


def test_ductile_disc_bursts_above_its_elastic_peak_stress() -> None:
    # Robinson, Trans. ASME 66 (1944), abstract: at burst the mean hoop stress is the tensile strength while the
    # elastic peak is far above it, with a central hole more than double.
    steel = WheelMaterial(name="steel", density=7850, poisson=0.3, tensile_strength=600e6)
    holed = Wheel(radius=0.15, bore=0.002, material=steel)
    assert peak_hoop(holed, burst_speed(holed) / holed.radius) > 2 * 600e6


def test_rim_pull_matches_lame() -> None:
    # Lamé: an annulus under outward pull p has 2p·b²/(b² − a²) at its bore; a thin one p·b/(b − a) all through.
    assert pulled_hoop(1e6, 0.1, 0.05) == pytest.approx(2e6 * 0.01 / 0.0075)
    assert pulled_hoop(1e6, 0.1, 0.0) == pytest.approx(1e6)
    assert pulled_hoop(1e6, 0.1, 0.0999) == pytest.approx(1e6 * 0.1 / 0.0001, rel=1e-3)


@pytest.mark.parametrize("material", [m for m in WHEEL_MATERIALS.values() if m.brittle], ids=lambda m: m.name)
@given(
    radius=st.floats(0.015, 0.1),
    bore=st.floats(0.0, 0.9),
    depth=st.floats(0.0, 0.4),
    held_by=st.sampled_from(list(Hold)),
)
def test_brittle_hub_bursts_at_rim_safety_one(
    material: WheelMaterial, radius: float, bore: float, depth: float, held_by: Hold
) -> None:
    # Brittle and printed hubs fail at the elastic peak stress; Robinson's mean stress holds for ductile ones.
    rubber = TyreMaterial(name="rubber", density=1200.0, modulus=3e6)
    tyre = Tyre(material=rubber, depth=depth * radius, held_by=held_by) if depth > 0.01 else None
    wheel = Wheel(radius=radius, bore=2 * bore * radius * (1 - depth), material=material, tyre=tyre)
    assert burst_speed(wheel) == pytest.approx(float(allowable_speed(wheel, 1.0)))
    assert rim_safety(wheel, burst_speed(wheel)) == pytest.approx(1.0)


def test_printed_plastics_are_brittle() -> None:
    assert all(material.brittle for name, material in WHEEL_MATERIALS.items() if name.startswith("printed"))


def test_burst_speed_of_a_printed_petg_hub() -> None:
    # 30 mm PETG hub under a 4 mm ring that a lip holds: 209 m/s by the mean stress, 143 m/s by the greatest one.
    ring = Tyre(material=TYRE_MATERIALS["natural rubber 40"], depth=0.004, held_by=Hold.LIP)
    wheel = Wheel(radius=0.03, width=0.015, bore=0.005, material=WHEEL_MATERIALS["printed PETG"], tyre=ring)
    assert float(burst_speed(wheel)) == pytest.approx(143.0, abs=1.0)


@pytest.mark.parametrize("material", list(WHEEL_MATERIALS.values()), ids=lambda m: m.name)
def test_unknown_bore_counts_as_a_hole(material: WheelMaterial) -> None:
    # A small hole doubles the greatest stress (test_pinhole_doubles_the_stress), so an unknown bore counts as one.
    unknown = Wheel(radius=0.04, material=material)
    pinhole = Wheel(radius=0.04, bore=1e-6, material=material)
    solid = Wheel(radius=0.04, material=material, solid=True)
    assert rim_safety(unknown, 20.0) == pytest.approx(float(rim_safety(pinhole, 20.0)), rel=1e-3)
    assert rim_safety(solid, 20.0) == pytest.approx(2 * float(rim_safety(unknown, 20.0)), rel=1e-3)

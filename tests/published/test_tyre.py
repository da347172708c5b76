"""Rubber modulus and tyre retention against published relations and force balance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.stage import Hold, Tyre, TyreMaterial, Wheel
from stager.physics.wheel import (
    Failure,
    explain,
    gent_modulus,
    leaving_speed,
    lift_off_speed,
    retention_speed,
    tearing_speed,
    turning_hold,
)
from tests.published.inventory import printed as compare

NITRILE = TyreMaterial(name="nitrile", density=1250.0, modulus=5.5205e6, tensile_strength=12e6)
RING = Tyre(material=NITRILE, depth=0.003, stretch=0.05, held_by=Hold.STRETCH, hub_friction=0.6)
WHEEL = Wheel(radius=0.040, width=0.018, tyre=RING)


def held(hold: Hold, **changes: float) -> Wheel:
    return replace(WHEEL, tyre=replace(RING, held_by=hold, **changes))


@pytest.mark.parametrize(
    "hardness, modulus", [(30, 1.1424), (40, 1.6896), (50, 2.4558), (60, 3.6051), (70, 5.5205), (80, 9.3514)]
)
def test_modulus_by_gent(hardness: float, modulus: float) -> None:
    # Gent, Trans. IRI 34 (1958), in the form used by public codes that name him; values by arithmetic.
    assert gent_modulus(hardness) / 1e6 == pytest.approx(modulus, rel=1e-4)


def test_gent_modulus_of_a_public_code() -> None:
    source = "shishirsanjeeva/MoElasticityUsingShoreHardness, Gent's equation at 50"
    compare("modulus of rubber by Shore A hardness (MPa)", source, 2.46, gent_modulus(50) / 1e6, rel=2e-3)


@pytest.mark.parametrize("hardness", [30, 40, 50, 60, 70])
def test_gent_and_ruess_agree_within_a_factor_1_9(hardness: float) -> None:
    # Ruess: log10(E/MPa) = 0.0235·S − 0.6403 (two pages): within 2 % at Shore 30, within a factor 1.9 up to 80.
    ruess = 10 ** (0.0235 * hardness - 0.6403)
    assert 1 / 1.9 < gent_modulus(hardness) / 1e6 / ruess < 1.02


def test_lift_off_speed_is_independent_of_the_radius() -> None:
    # √(Eε/ρ): a ring's own hoop stress ρu² against its stretch; at 5 %, the most that sealing practice stretches a
    # fitted ring, Shore A 70 nitrile of 1250 kg/m³ lifts at 14.86 m/s (arithmetic).
    assert lift_off_speed(RING) == pytest.approx(14.860, rel=1e-4)
    small = replace(WHEEL, radius=0.015)
    assert leaving_speed(small, RING) == leaving_speed(WHEEL, RING) == lift_off_speed(RING)


def test_stretched_ring_lifts_off_at_speed() -> None:
    found = explain(WHEEL, 25.0)
    assert found is not None
    assert found.failure is Failure.LIFTS
    assert found.speed == pytest.approx(14.860, rel=1e-4)
    assert found.needed_stretch == pytest.approx(1250 * 25.0**2 / 5.5205e6)
    assert "lip" in found.changes[0].what or "tread" in found.changes[0].what
    assert all(change.speed > found.speed for change in found.changes)
    assert [change.speed for change in found.changes] == sorted((c.speed for c in found.changes), reverse=True)


def test_needed_stretch_holds_up_to_the_speed() -> None:
    found = explain(WHEEL, 25.0)
    assert found is not None
    assert lift_off_speed(replace(RING, stretch=found.needed_stretch)) == pytest.approx(25.0)


def test_clamp_and_lip_raise_the_retention_speed() -> None:
    clamped = held(Hold.CLAMP, clamp_force=200.0)
    # ρu² = Eε + μF/(π·t·w) by balance of a clamped ring.
    tension = 5.5205e6 * 0.05 + 0.6 * 200.0 / (np.pi * 0.003 * 0.018)
    assert retention_speed(clamped) == pytest.approx(np.sqrt(tension / 1250))
    lipped = held(Hold.LIP, lip_strength=0.1e6)
    # Pressure on the lip: (ρu² − Eε)·t/b.
    speed = float(retention_speed(lipped))
    assert (1250 * speed**2 - 5.5205e6 * 0.05) * 0.003 / 0.037 == pytest.approx(0.1e6)
    assert float(retention_speed(WHEEL)) < float(retention_speed(clamped)) < speed


def test_held_ring_tears_at_its_strength() -> None:
    lipped = held(Hold.LIP, lip_strength=2e6)
    assert retention_speed(lipped) == tearing_speed(lipped, replace(RING, held_by=Hold.LIP))
    assert retention_speed(lipped) == pytest.approx(np.sqrt(12e6 / 1250))
    found = explain(lipped, 50.0)
    assert found is not None
    assert found.failure is Failure.TEARS


def test_no_retention_limit_without_tyre_or_strength() -> None:
    assert np.isinf(retention_speed(Wheel(radius=0.04)))
    unknown = replace(NITRILE, tensile_strength=None)
    assert np.isinf(retention_speed(replace(WHEEL, tyre=replace(RING, material=unknown, held_by=Hold.BOND))))
    assert explain(Wheel(radius=0.04), 10.0) is None


def test_friction_torque_of_a_ring_on_its_hub() -> None:
    slow, fast = turning_hold(WHEEL, np.array([5.0, 20.0]))
    left = 5.5205e6 * 0.05 - 1250 * 25.0
    assert slow == pytest.approx(0.6 * 2 * np.pi * 0.018 * 0.003 * left)
    assert fast == 0.0  # lifted off
    assert turning_hold(WHEEL, 20.0, normal=100.0) == pytest.approx(60.0)
    assert turning_hold(held(Hold.CLAMP, clamp_force=50.0), 20.0) == pytest.approx(60.0)
    assert turning_hold(held(Hold.BOND, bond_strength=1e6), 20.0) == pytest.approx(1e6 * 2 * np.pi * 0.037 * 0.018)
    assert np.isinf(turning_hold(replace(WHEEL, width=None), 20.0))

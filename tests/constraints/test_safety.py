"""Hazards of a throw: energy, eye injuries, toy limits, range, wheel fragments, strain of the projectile."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import OperatingPoint
from stager.model.launcher import Launcher
from stager.model.projectile import BALL, DISC, Projectile
from stager.model.requirements import LimitValues
from stager.model.stage import RAIL, Wheel
from stager.physics.chain import throw
from stager.physics.mechanics import spin_acceleration
from stager.physics.safety import EYE_INJURIES, hazards
from stager.physics.wheel import fragment_energy, wheel_mass
from stager.report import flight
from stager.report import throw as throws
from stager.report.check import driven_notes
from tests.drive.machines import ALUMINIUM, launcher

SPEEDS = np.array([8.0, 11.0])


def _thrown(mass: float = 0.018, **projectile: object) -> Launcher:
    machine = launcher()
    return replace(machine, projectile=replace(machine.projectile, mass=mass, **projectile))  # type: ignore[arg-type]


def test_energies_and_ranges_are_consistent() -> None:
    machine = _thrown()
    done = throw(machine, SPEEDS)
    found = hazards(machine, done)
    assert found.energy == pytest.approx(0.009 * float(done.exit_speed) ** 2)
    assert found.energy_per_area == pytest.approx(found.energy / (np.pi * 0.019**2))
    # ½Jω² of the wheel.
    assert found.wheels[0].stored == pytest.approx(4e-5 * (8 / 0.04) ** 2 / 2)
    assert found.wheels[0].load == pytest.approx(4e4 * 2e-3, rel=0.05)
    # A third of the wheel keeps a third of ½Jω²: ½(m/3)c² of its centre of mass and ½Iω² about it (parallel axes).
    assert found.wheels[0].fragment == pytest.approx(found.wheels[0].stored / 3)
    assert found.wheels[1].fragment / found.wheels[0].fragment == pytest.approx((11 / 8) ** 2)
    assert found.fall.drag is not None
    assert 0 < found.fall.drag < found.fall.vacuum


def test_hazards_and_notes_are_of_the_speed_that_a_projectile_drives_a_wheel_to() -> None:
    machine = launcher(inertia=3e-6)
    slow = replace(machine.template, wheel=replace(machine.template.wheel, inertia=3e-6))
    heavy = replace(machine.template, wheel=replace(machine.template.wheel, inertia=5e-4))
    machine = replace(machine, stages=(heavy, slow))
    done = throw(machine, np.array([16.0, 4.0]))
    top = float(done.stages.wheel_top_a[1])
    assert top > 8.0
    assert hazards(machine, done).wheels[1].stored == pytest.approx(3e-6 * (top / 0.04) ** 2 / 2)
    point = OperatingPoint(launcher=machine, limit_values=LimitValues(exit_energy=10.0, stages=2), throw=done)
    (note,) = driven_notes(point)
    assert f"wheel 2 beyond its set speed, to {top:.2f} m/s" in note
    calm = throw(machine, np.array([8.0, 12.0]))
    assert driven_notes(replace(point, throw=calm)) == []


def test_distances_of_a_fall_are_rounded_up() -> None:
    machine = _thrown()
    for speed in np.linspace(6.0, 12.0, 7):
        done = throw(machine, np.array([speed]))
        fall = hazards(machine, done).fall
        note = flight.hazard_notes(machine, done)[2]
        said = [float(one) for one in re.findall(r"([\d.]+) m (?:from|with drag)", note)]
        assert len(said) == 2
        assert said[0] >= fall.vacuum
        assert said[1] >= (fall.drag or 0.0)


@pytest.mark.parametrize("shape", range(len(EYE_INJURIES)))
def test_eye_injury_is_named_above_its_half_risk(shape: int) -> None:
    # Duma et al. 2005, as in `stager.physics.safety`.
    machine = _thrown()
    speed = float(throw(machine, SPEEDS).exit_speed)
    injury = EYE_INJURIES[shape]
    area = 2 * injury.half_risk / speed**2  # of projected mass per area
    for share, named in ((0.99, False), (1.01, True)):
        done = throw(machine, SPEEDS)
        heavy = replace(machine, projectile=replace(machine.projectile, mass=share * area * np.pi * 0.019**2))
        assert (injury.name in flight.hazard_rows(heavy, done)["likely_eye_injuries"]) is named


def test_notes_cover_eyes_toys_and_fall() -> None:
    machine = _thrown()
    notes = flight.hazard_notes(machine, throw(machine, SPEEDS))
    assert [line.partition(":")[0] for line in notes] == ["Eyes", "Toys", "Fall"]
    assert all(len(line) <= 300 for line in notes)
    assert "not safe" in notes[0]


def test_note_on_toy_limits_certifies_nothing() -> None:
    machine = _thrown(mass=0.0005)
    notes = flight.hazard_notes(machine, throw(machine, SPEEDS[:1]))
    assert "certifies nothing" in notes[1]
    assert "contact area" not in notes[1]  # It is unknown, and not needed at 0.08 J and less.
    assert "not compared" in notes[1]


@pytest.mark.parametrize("mass, area, kept", [(0.018, None, None), (0.018, 1e-3, True), (0.018, 1e-5, False)])
def test_toy_limit_per_area_uses_the_contact_area(mass: float, area: float | None, kept: bool | None) -> None:
    # A clay ball of 0.5 J: 2500 J/m² on its frontal area is 2.84 J, but its contact area is smaller.
    machine = _thrown(mass=mass, contact_area=area)
    done = throw(machine, SPEEDS[:1])
    row = flight.hazard_rows(machine, done)["toy_limits"][0]
    assert row == {"name": "ASTM F963-17", "kept": kept}
    note = flight.hazard_notes(machine, done)[1]
    assert ("Not judged: ASTM F963-17" in note) is (kept is None)
    assert ("within the published limits" in note) is False  # EN 71-1 before A1:2018 is broken


def test_disc_of_unknown_thickness_has_no_energy_per_area() -> None:
    machine = launcher()
    thin = Projectile(shape=DISC, mass=0.018, diameter=0.038)
    machine = replace(machine, projectile=thin)
    done = throw(machine, SPEEDS)
    found = hazards(machine, done)
    assert found.energy_per_area is None
    assert [kept for _, kept in found.toys] == [None, False, False]
    assert "not known" in flight.hazard_notes(machine, done)[0]


def test_no_hazard_notes_after_a_jam() -> None:
    machine = launcher(feed=0.1)
    done = throw(machine, np.array([0.5, 0.5]))
    assert done.jammed
    assert flight.hazard_notes(machine, done) == []


def test_fragment_energy_is_translation_plus_rotation() -> None:
    # Sector of 120 degrees of a disc: centre of mass at (2/3)R sin(60)/(60 in rad), inertia about the axis (m/3)R²/2.
    disc = Wheel(radius=0.04, width=0.018, material=ALUMINIUM)
    mass, speed = float(wheel_mass(disc)) / 3, 20.0
    centre = 2 / 3 * np.sin(np.pi / 3) / (np.pi / 3) * 0.04
    flight = mass * (speed / 0.04 * centre) ** 2 / 2
    spin = (mass * 0.04**2 / 2 - mass * centre**2) * (speed / 0.04) ** 2 / 2
    assert fragment_energy(disc, speed) == pytest.approx(flight + spin)


def test_strain_of_a_rolling_ball() -> None:
    # v²/r at the rim of a 38 mm ball that rolls out at 15 m/s: 225/0.019 = 11 842 m/s².
    ball = Projectile(shape=BALL, mass=0.018, diameter=0.038)
    assert spin_acceleration(15.0 / 0.019, ball) == pytest.approx(11_842, rel=1e-3)
    machine = launcher(layout=RAIL)
    done = throw(machine, SPEEDS)
    row = throws.stages(machine, done)[0]
    assert row["squeeze_m_s2"] == pytest.approx(4e4 * 4e-3 / 0.018, rel=0.02)
    (message,) = throws.strain([row])
    assert "along the barrel" in message
    assert "Not counted" in message
    assert throws.entering(machine) == ["It enters without spin (feed.spin)."]


@pytest.mark.parametrize(
    ("changes", "mass"),
    [({}, "computed"), ({"mass": 0.2}, 0.2), ({"mass": 0.2, "width": None}, 0.2), ({"width": None}, None),
     ({"material": None}, None)],
    ids=["material", "mass", "mass alone", "no width", "no material"],
)  # fmt: skip
def test_imbalance_of_a_wheel_of_known_mass_is_mass_times_grade_times_turning_speed(
    changes: dict[str, Any], mass: float | str | None
) -> None:
    # ISO 21940-11: G 6.3 is an eccentricity times turning speed of 6.3 mm/s, so F = m·e·ω² = m·G·ω.
    machine = launcher(**changes)
    speeds, beside = np.array([8.0, 11.0]), np.array([9.0, 10.0])
    found = [wheel.imbalance for wheel in hazards(machine, throw(machine, speeds, beside)).wheels]
    if mass is None:
        assert found == [None, None]
        return
    weight = float(wheel_mass(machine.template.wheel)) if mass == "computed" else mass
    assert found == pytest.approx([float(weight) * 6.3e-3 * fastest / 0.04 for fastest in (9.0, 11.0)])

"""Explanations of tyre retention: how a tyre leaves its rim and what helps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.constraints import OperatingPoint
from stager.constraints.wheels import TYRE_RETENTION, TYRE_TURNING
from stager.model.requirements import LimitValues
from stager.model.stage import Hold, Wheel
from stager.physics.chain import throw
from stager.physics.friction import Bell
from stager.physics.mechanics import peak_normal
from stager.physics.wheel import turning_hold
from stager.report import limits
from tests.drive.machines import NITRILE, launcher, wheel


def _design(speeds: list[float], **tyre: object) -> OperatingPoint:
    held: Wheel = wheel(tyre=replace(wheel().tyre, **tyre))  # type: ignore[type-var]
    machine = launcher()
    machine = replace(machine, template=replace(machine.template, wheel=held))
    return OperatingPoint(
        launcher=machine, limit_values=LimitValues(exit_energy=8.0), throw=throw(machine, np.array(speeds))
    )  # fmt: skip


def test_lift_off_is_explained_with_the_best_remedy() -> None:
    # Lift-off at √(5.52 MPa × 0.05 / 1250 kg/m³) = 14.859 m/s; at 20 m/s stretch alone takes ρu²/E = 9.06 %.
    design = _design([8.0, 20.0], held_by=Hold.STRETCH)
    (message,) = limits.tyre_notes(design)
    assert message.startswith("Tyre of stage 2, which runs at 20.00 m/s: from 14.85 m/s on its own weight outdoes its")
    assert "9 %" in message
    assert "whatever the wheel's radius" in message
    rows = limits.tyre_rows(design)
    best = max(rows[1]["changes"], key=lambda change: change["holds_to_m_s"])
    assert rows[1]["changes"][0] == best
    assert best["what"] in message
    assert rows[1]["stretch_needed_alone"] == pytest.approx(1250 * 400 / 5.52e6)


@pytest.mark.parametrize(
    "tyre, because",
    [
        ({"held_by": Hold.CLAMP, "clamp_force": 20.0, "hub_friction": 0.5}, "works its way out"),
        ({"held_by": Hold.LIP, "lip_strength": 1e4}, "presses the lip away"),
        ({"held_by": Hold.BOND, "bond_strength": 1e4}, "peels off its bond"),
        ({"held_by": Hold.LIP, "lip_strength": 2e6}, "tears"),
    ],
)
def test_each_fastening_has_its_failure_mode(tyre: dict[str, object], because: str) -> None:
    slow = limits.tyre_rows(_design([8.0], **tyre))[0]
    assert because in slow["because"]
    leaves = float(slow["leaves_at_m_s"])
    assert limits.tyre_notes(_design([0.6 * leaves], **tyre)) == []
    (message,) = limits.tyre_notes(_design([0.8 * leaves], **tyre))
    assert because in message


@pytest.mark.parametrize("hold, key", [(Hold.LIP, "lip_strength"), (Hold.BOND, "bond_strength")])
def test_fastening_of_unknown_strength_has_no_retention_speed(hold: Hold, key: str) -> None:
    design = _design([8.0, 20.0], held_by=hold)
    for row in limits.tyre_rows(design):
        assert row["leaves_at_m_s"] is row["because"] is None
        assert row["missing"] == f"stage.wheel.tyre.{key}"
    assert limits.tyre_notes(design) == []


def test_no_tyre_notes_without_a_tyre() -> None:
    machine = launcher(tyre=None)
    design = OperatingPoint(
        launcher=machine, limit_values=LimitValues(exit_energy=8.0), throw=throw(machine, np.array([8.0]))
    )  # fmt: skip
    assert limits.tyre_notes(design) == []
    assert limits.tyre_rows(design) == []


@pytest.mark.parametrize(
    "tyre, remedy",
    [
        # Nothing is known of the lip; the rubber itself tears at sqrt(12 MPa / 1250 kg/m^3) = 98 m/s.
        ({"held_by": Hold.LIP}, "wheel 2 at 97.9 m/s or less"),
        ({"held_by": Hold.LIP, "material": replace(NITRILE, tensile_strength=None)}, ""),
        ({"held_by": Hold.STRETCH}, "the ring lifts off the rim at 14.85 m/s; "),
    ],
)  # fmt: skip
def test_remedy_of_retention_says_how_the_tyre_leaves_or_how_fast_it_may_turn(
    tyre: dict[str, object], remedy: str
) -> None:
    point = _design([8.0, 20.0], **tyre)
    told = TYRE_RETENTION.remedy(point)
    assert told == remedy if "wheel" in remedy or not remedy else remedy in told


def test_tyre_holds_against_the_friction_of_a_projectile_that_is_faster_than_its_wheel() -> None:
    # Friction of a bell law is greatest at a slip that the slow wheel's own speed does not reach.
    law = Bell(peak=0.9, peak_speed=10.0, width=1.0)
    held = wheel(tyre=replace(wheel().tyre, held_by=Hold.STRETCH, hub_friction=0.5))  # type: ignore[type-var]
    machine = launcher()
    machine = replace(
        machine, template=replace(machine.template, wheel=held),
        contact=replace(machine.contact, friction=law, rail_friction=law),
    )  # fmt: skip
    point = OperatingPoint(
        launcher=machine, limit_values=LimitValues(exit_energy=20.0), throw=throw(machine, np.array([25.0, 3.0]))
    )  # fmt: skip
    slip = float(point.throw.stages.entry_speed[1]) - 3.0
    assert slip > 5.0
    friction = float(law.coefficient(np.array([slip]))[0][0])
    assert TYRE_TURNING.each is not None
    shares = TYRE_TURNING.each(point)
    assert shares is not None
    normal = float(peak_normal(machine, 1, 3.0))
    assert float(shares[1]) >= friction * normal / float(turning_hold(held, 3.0, normal))

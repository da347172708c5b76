"""Wheel speeds as a plan shows them: typed in again, they keep what the plan keeps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import stager
from stager.optimise.planner import plan
from stager.report.limits import room_text, rows
from tests.optimise.builds import CONFIGS, SHIPPED

CASES = [(name, {}) for name in SHIPPED] + [
    ("seed_ball", {"limits.grip_margin": 0.1, "limits.stages": 3}),
    ("seed_ball", {"limits.exit_energy": "2 J", "limits.stages": 2, "limits.grip_margin": 0.001}),
    ("seed_ball", {"goal.spin": "20 rev/s", "limits.stages": 1}),
    ("table_tennis", {"limits.grip_margin": 0.03, "limits.stages": 3}),
    ("seed_ball", {"measuring.wheel_speed": 0.83, "limits.stages": 3}),
    # Slower wheels alone keep the limit on energy, but not that on acceleration.
    ("streamer", {"limits.acceleration": "1096 m/s^2"}),
]


@pytest.mark.parametrize(("name", "changes"), CASES)
def test_shown_wheel_speeds_break_no_limit_that_the_plan_keeps(name: str, changes: dict[str, object]) -> None:
    one = stager.load(Path(CONFIGS) / f"{name}.toml").replace({"limits.stages": 2, **changes})
    best = one.plan(draws=0).best
    assert best is not None
    assert best.shown is not None
    kept = {result.name for result in best.verdicts if result.satisfied}
    scale = float(one.scenario.launcher.measuring.wheel_speed) if one.scenario.launcher.measuring else 1.0
    assert best.shown.indicated_rpm == pytest.approx(np.round(best.shown.indicated_rpm))
    readings = scale * best.shown.indicated_rpm
    for unit, shown in (("m/s", best.shown.wheel_speed), ("rpm", best.shown.rpm), ("rpm", readings)):
        typed = [f"{a:.9g} {unit}" if a == b else f"{a:.9g}:{b:.9g} {unit}" for a, b in shown.T]
        again = one.check(*typed)
        assert [one.name for one in again.verdicts if one.name in kept and not one.satisfied] == []
    np.testing.assert_allclose(best.shown.wheel_speed[0], best.wheel_speed, atol=0.05)


@pytest.mark.parametrize("acceleration", [3662, 4167])
def test_check_finds_every_limit_kept_at_the_speeds_of_a_plan(acceleration: float) -> None:
    # Peaks of acceleration depend on where the integrator looks.
    changes = {"limits.stages": 1, "limits.acceleration": f"{acceleration} m/s^2"}
    one = stager.load(CONFIGS / "foam_disc.toml", changes)
    best = plan(one.scenario, draws=0, certified=False).best
    assert best is not None
    assert best.feasible
    assert [one.name for one in one.check(*best.wheel_speed).verdicts if not one.satisfied] == []


@pytest.mark.parametrize("share", [1e-2, 1e-4, 2e-6])
def test_margin_of_a_broken_limit_shows_by_how_much(share: float) -> None:
    one = stager.load(CONFIGS / "seed_ball.toml")
    speed = 13.0
    energy = one.check(speed).exit_energy / (1 + share)
    found = one.replace({"limits.exit_energy": f"{energy:.12g} J"}).check(speed)
    row = next(row for row in rows(found.verdicts) if row["name"] == "exit_energy")
    assert not row["kept"]
    assert float(room_text(row).split()[0]) < 0

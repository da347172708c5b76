"""Under a limit on exit energy a slipping wheel throws as fast as one that grips; plans take the one that grips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.optimise.planner import plan
from tests.optimise.machines import HEAVY, HOLLOW, MIXED, scenario


@pytest.mark.parametrize(
    ("launcher", "energy", "stages"),
    [(HEAVY, 0.9, 1), (HEAVY, 2.0, 2), (HEAVY, 4.0, 3), (HOLLOW, 0.08, 2), (MIXED, 2.0, 2)],
    ids=["one", "two", "three", "hollow", "mixed"],
)
def test_no_wheel_of_a_plan_slips_beyond_its_grip_limit(launcher: Launcher, energy: float, stages: int) -> None:
    task = scenario(launcher, wheel_speed=40.0, exit_energy=energy, stages=stages)
    task = replace(task, limit_values=replace(task.limit_values, grip_margin=0.0))
    best = plan(task, draws=0, certified=False).best
    assert best is not None
    mass = float(task.launcher.projectile.mass)
    assert mass * best.exit_speed**2 / 2 == pytest.approx(energy, rel=1e-4)
    beyond = best.lead / best.grip_limit - 1
    assert np.nanmax(beyond) < 0.02

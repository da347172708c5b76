"""Where a wheel that slips throws as fast as one that grips, plans take the one that grips.

So it is under a limit on exit energy, and at any speed past the grip limit where friction does not fall with slip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.model.stage import Drive, Supply
from stager.optimise.planner import plan
from tests.optimise.machines import HEAVY, HOLLOW, MIXED, PLATEAU, scenario, stage


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


DRIVEN = replace(
    PLATEAU,
    template=stage(inertia=2e-4, drive=Drive(speed_constant=94.0, resistance=0.1, no_load_current=0.3)),
    supply=Supply(voltage=12.0, resistance=0.05),
)  # fmt: skip


@pytest.mark.parametrize("launcher", [PLATEAU, DRIVEN], ids=["coasting", "driven"])
@pytest.mark.parametrize("stages", [1, 2])
def test_a_wheel_is_no_faster_than_adds_exit_speed_under_constant_friction(launcher: Launcher, stages: int) -> None:
    best = plan(scenario(launcher, wheel_speed=40.0, stages=stages), draws=0, certified=False).best
    assert best is not None
    # At creep 0.15 m/s all but 1e-5 of the friction acts from a slip of 1 m/s on, which 4 % more wheel speed give.
    assert np.max(best.lead / best.grip_limit) < 1.04

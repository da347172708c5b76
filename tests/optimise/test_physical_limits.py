"""Physical wheel limits: plans keep them, and `check` reports the broken one and its excess."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from stager.constraints import OperatingPoint, evaluate_limits
from stager.constraints.wheels import SPEED_CEILINGS
from stager.model.requirements import LimitValues
from stager.model.stage import Hold
from stager.optimise.planner import plan
from stager.physics.chain import throw
from tests.drive.machines import ALUMINIUM, DRIVE, SUPPLY, launcher, wheel
from tests.optimise.machines import scenario

WEAK = launcher(material=replace(ALUMINIUM, yield_strength=1.5e5, tensile_strength=2e5))
LOOSE = replace(
    launcher(),
    template=replace(
        launcher().template,
        wheel=wheel(tyre=replace(wheel().tyre, held_by=Hold.STRETCH, stretch=0.02)),  # type: ignore[type-var]
    ),
)
SLOW = launcher(supply=replace(SUPPLY, voltage=1.6))
TURNS = launcher(drive=replace(DRIVE, max_speed=220.0))
TIRED = launcher(supply=replace(SUPPLY, voltage=2.2, resistance=0.12))
CASES = {"burst": WEAK, "tyre_retention": LOOSE, "drive_reach": SLOW, "motor_speed": TURNS, "throttle": TIRED}


@pytest.fixture(scope="module")
def free() -> float:
    """Return the highest wheel speed of a plan with sound parts [m/s]."""
    best = plan(scenario(launcher(), stages=1), draws=0, certified=False).best
    assert best is not None
    return float(best.wheel_speed.max())


@pytest.mark.parametrize("name", CASES)
def test_plan_keeps_the_physical_wheel_limit(name: str, free: float) -> None:
    machine = CASES[name]
    found = plan(scenario(machine, stages=1), draws=0, certified=False)
    assert found.best is not None
    assert found.best.feasible
    assert name in {verdict.name for verdict in found.best.verdicts}
    lowest = min(float(np.max(ceiling(machine, machine.stage(0)))) for ceiling in SPEED_CEILINGS.values())
    assert float(found.best.wheel_speed.max()) <= lowest * (1 + 1e-6)
    # Without the weak part the wheels would turn faster, so the limit is active.
    assert free > float(found.best.wheel_speed.max()) * 1.05


@pytest.mark.parametrize("name", [name for name in CASES if name != "throttle"])
def test_check_reports_the_broken_wheel_limit_and_its_excess(name: str) -> None:
    machine = CASES[name]
    top = float(np.max(SPEED_CEILINGS[name](machine, machine.stage(0))))
    speeds = np.array([0.5 * top, 1.2 * top])
    design = OperatingPoint(launcher=machine, limit_values=LimitValues(exit_energy=1e3), throw=throw(machine, speeds))
    broken = {verdict.name: verdict for verdict in evaluate_limits(design, remedies=True) if verdict.slack < 0}
    assert name in broken
    assert float(broken[name].value) == pytest.approx(1.2)
    assert float(broken[name].slack) == pytest.approx(-0.2)
    advised = re.search(r"([0-9.]+) m/s", broken[name].remedy)
    assert advised is not None
    # Three digits, rounded down.
    assert 0.99 * top < float(advised[1]) <= top

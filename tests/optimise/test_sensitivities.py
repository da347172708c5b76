"""Sensitivities to limits against plans with a slightly looser limit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from stager.config import load
from stager.model.launcher import Scenario
from stager.optimise.planner import plan
from stager.optimise.records import Plan
from stager.physics.chain import throw
from tests.drive.machines import DRIVE, HEAT
from tests.drive.machines import launcher as with_drives
from tests.optimise.machines import HEAVY, LIGHT, scenario
from tests.optimise.solved import looser

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
WARM = with_drives(drive=replace(DRIVE, heat=replace(HEAT, case_to_air=20.0)), rate=3.0, tyre=None)
CASES = {
    "slip_heat": scenario(HEAVY, slip_heat=1.0),
    "exit_energy": scenario(LIGHT, exit_energy=1.5, stages=2),
    "acceleration": scenario(HEAVY, acceleration=4000.0, stages=2),
    "wheel_speed": scenario(HEAVY, wheel_speed=12.0, stages=2),
    "grip_margin": scenario(HEAVY, grip_margin=0.05, stages=2),
    # 1 % looser is 1 % more rise above the air.
    "winding_temperature": scenario(WARM, winding_temperature=340.0, stages=1),
}


@cache
def _planned(name: str) -> Plan:
    return plan(CASES[name], draws=0, certified=False)


@pytest.mark.parametrize("name", CASES)
def test_sensitivity_is_the_gain_of_a_new_plan(name: str) -> None:
    _check_sensitivity(CASES[name], _planned(name), name, within=0.01)


def test_sensitivity_to_a_power_limit_that_stages_share(tmp_path: Path) -> None:
    text = (CONFIGS / "foam_disc.toml").read_text(encoding="utf-8")
    path = tmp_path / "weak.toml"
    path.write_text(
        text.replace("[limits]\n", '[limits]\naverage_power = "25 W"\n').replace("stages = 4", "stages = 2"),
        encoding="utf-8",
    )
    task = load(path).scenario()
    _check_sensitivity(task, plan(task, draws=0, certified=False), "average_power", within=0.02)


def _check_sensitivity(task: Scenario, found: Plan, name: str, *, within: float) -> None:
    assert found.best is not None
    assert name in found.binding
    again = plan(looser(task, [name], 1.01), draws=0, certified=False)
    gained = again.ladder[found.best.count].exit_speed.nominal / found.best.exit_speed - 1
    # The plan converges to 1e-5 of its exit speed.
    assert found.prices[name] == pytest.approx(gained, rel=within, abs=2e-5)


def test_sensitivity_to_slip_heat_is_its_lagrange_multiplier() -> None:
    # If no other limit is active, ∂exit/∂setting = λ ∂heat/∂setting for each setting.
    task, found = CASES["slip_heat"], _planned("slip_heat")
    assert found.best is not None
    steps = 3e-4 * np.eye(3)
    ahead, behind = (throw(task.launcher, found.best.wheel_speed * (1 + way * steps)) for way in (1, -1))
    gained = ahead.exit_speed - behind.exit_speed
    warmed = ahead.stages.slip_heat.sum(-1) - behind.stages.slip_heat.sum(-1)
    slope = gained @ warmed / (warmed @ warmed)
    assert task.limit_values.slip_heat is not None
    assert found.prices["slip_heat"] == pytest.approx(
        0.01 * slope * task.limit_values.slip_heat / found.best.exit_speed, rel=0.02
    )


@pytest.mark.parametrize("margin", [0.0, 0.06])
def test_value_of_one_more_stage_is_its_gain(margin: float) -> None:
    # With a margin grip limits are those at the stage's own entry, not those of the tables, 0.5 % of exit speed away.
    tasks = (scenario(HEAVY, stages=count, grip_margin=margin) for count in (1, 2))
    few, more = (plan(task, draws=0, certified=False) for task in tasks)
    assert few.best is not None
    assert more.best is not None
    assert few.binding - {"grip_margin"} == {"stages"}
    assert few.one_more_stage == pytest.approx(more.best.exit_speed / few.best.exit_speed - 1, abs=5e-4)

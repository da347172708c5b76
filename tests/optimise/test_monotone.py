"""Looser limits and more stages never lower the exit speed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from stager.model.launcher import Launcher, Scenario, Supply
from stager.model.stage import Drive
from stager.optimise.planner import plan
from stager.physics.grip_limit import grip_limit
from tests.optimise.machines import FOAM, HEAVY, HOLLOW, HOOP, LIGHT, scenario
from tests.optimise.solved import looser, solved

ROUNDING = 1 - 2e-5
CASES = {
    "slip_heat": scenario(HEAVY, slip_heat=0.7, stages=2),
    "exit_energy": scenario(LIGHT, exit_energy=1.0, stages=2),
    "acceleration": scenario(HEAVY, acceleration=3500.0, stages=2),
    "wheel_speed": scenario(HEAVY, wheel_speed=9.0, stages=2),
    "grip_margin": scenario(HEAVY, grip_margin=0.1, stages=2),
}


@pytest.mark.parametrize("name", CASES)
def test_exit_speed_does_not_fall_with_a_looser_limit(name: str) -> None:
    speeds = []
    for factor in (1.0, 1.4):
        found = plan(looser(CASES[name], [name], factor), draws=0, certified=False)
        speeds.append([rung.exit_speed.nominal for rung in found.ladder])
    for fewer, more in pairwise(speeds):
        assert all(late >= early * ROUNDING for early, late in zip(fewer, more, strict=True))
    for rungs in speeds:
        assert all(late >= early for early, late in pairwise(rungs))


NEAR_GRIP = np.array([0.8, 0.97, 1.0, 1.006, 1.03, 1.2])
"""Ends of the speed range over the first stage's grip limit [-]."""
MACHINES = {"pair": HEAVY, "hollow ball": HOLLOW, "rail": FOAM, "idler": HOOP}


def _wheels_end(machine: Launcher, top: float, **limits: Any) -> Scenario:
    return scenario(machine, wheel_speed=top, **limits)


def _motors_end(machine: Launcher, top: float, **limits: Any) -> Scenario:
    """Return a scenario of motors that turn as fast as a surface speed of `top` [m/s] at most."""
    drive = Drive(speed_constant=150.0, resistance=0.01, max_speed=top / float(machine.template.wheel.radius))
    driven = replace(machine, template=replace(machine.template, drive=drive), supply=Supply(voltage=60.0))
    return scenario(driven, **limits)


@pytest.mark.parametrize(
    ("name", "ending", "margin", "stages"),
    [
        *((name, _wheels_end, 0.04, 2) for name in ("pair", "hollow ball", "rail")),
        *((name, _wheels_end, 0.2, 1) for name in MACHINES),
        *((name, _motors_end, 0.04, 1) for name in ("pair", "idler")),
    ],
)  # fmt: skip
def test_exit_speed_does_not_fall_with_a_looser_speed_limit_near_the_grip_limit(
    name: str, ending: Callable[..., Scenario], margin: float, stages: int
) -> None:
    machine = ending(MACHINES[name], 60.0).launcher
    feed, spin, far = (np.array([value]) for value in (float(machine.feed.speed), 0.0, 60.0))
    grip = float(grip_limit(machine, 0, feed, spin, far).wheel_speed[0])
    tasks = [ending(MACHINES[name], share * grip, grip_margin=margin, stages=stages) for share in NEAR_GRIP]
    rows = [solved(task) for task in tasks]
    exits = np.array([[row.settings.exit_speed for row in found] for found in rows])
    assert (exits[1:] >= exits[:-1] * ROUNDING).all()
    first = np.array([found[1].settings.lead[0] for found in rows])
    assert (first <= grip * (1 - margin) * 1.002).all()

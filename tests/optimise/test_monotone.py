"""Looser limits and more stages never lower the exit speed."""

from __future__ import annotations

from itertools import pairwise

import pytest

from stager.optimise.planner import plan
from tests.optimise.machines import HEAVY, LIGHT, scenario
from tests.optimise.solved import looser

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

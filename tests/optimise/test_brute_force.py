"""Plans against brute force over wheel speeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher, Scenario
from stager.optimise.planner import plan
from stager.optimise.problem import Problem
from stager.optimise.search import CANDIDATE_EFFORT, fastest, refine
from tests.optimise import brute_force
from tests.optimise.machines import (
    CLOSE,
    FOAM,
    GUIDED,
    HEAVY,
    HOLLOW,
    HOOP,
    LIGHT,
    MIXED,
    PLATEAU,
    STREAMER,
    scenario,
)

CASES = {
    "heavy pair": (scenario(HEAVY, stages=2), 40.0),
    "light pair": (scenario(LIGHT, stages=2), 60.0),
    "plateau of constant friction": (scenario(PLATEAU, stages=2), 40.0),
    "hollow ball, stiffening contact": (scenario(HOLLOW, stages=2), 30.0),
    "disc on a rail": (scenario(FOAM, stages=2), 60.0),
    "rod": (scenario(STREAMER, stages=2), 40.0),
    "ring and idler": (scenario(HOOP, stages=2), 50.0),
    "guide that brakes": (scenario(GUIDED, stages=2), 40.0),
    "stages that differ": (scenario(MIXED, stages=2), 45.0),
    "rod in two nips": (scenario(CLOSE, stages=2), 40.0),
    "heat, light": (scenario(LIGHT, slip_heat=0.8, stages=2), 60.0),
    "energy": (scenario(LIGHT, exit_energy=3.0, stages=2), 60.0),
    "acceleration": (scenario(HEAVY, acceleration=4000.0, stages=2), 40.0),
    "energy by area": (scenario(FOAM, energy_per_area=1200.0, stages=2), 60.0),
    "wheel speed": (scenario(HEAVY, stages=2), 15.0),
    "margin, heavy": (scenario(HEAVY, grip_margin=0.05, stages=2), 40.0),
    "margin and speed": (scenario(HOLLOW, grip_margin=0.08, exit_speed=8.0, stages=2), 30.0),
    "margin and heat": (scenario(LIGHT, grip_margin=0.05, slip_heat=2.0, stages=2), 60.0),
}


@pytest.mark.parametrize("name", CASES)
def test_every_stage_count_is_as_fast_as_brute_force(name: str) -> None:
    task, top = CASES[name]
    task = replace(task, limit_values=replace(task.limit_values, wheel_speed=top))
    found = plan(task, draws=0, certified=False)
    assert found.best is not None
    assert found.best.feasible
    for count in range(1, task.limit_values.stages + 1):
        reached, _ = brute_force.fastest(task, count, top)
        assert found.ladder[count].exit_speed.nominal > reached * (1 - 1e-3)
        if np.isfinite(reached) and not _is_tight(task):
            # Where limits leave a narrow feasible set, the grid may miss the optimum, so only this side is checked.
            assert found.ladder[count].exit_speed.nominal < reached * (1 + 1e-3)


def _is_tight(task: Scenario) -> bool:
    allowed = task.limit_values
    return allowed.slip_heat is not None or allowed.grip_margin > 0 or allowed.acceleration is not None


@pytest.mark.parametrize(("machine", "limits"), [(LIGHT, {}), (HEAVY, {"slip_heat": 0.8}), (FOAM, {"slip_heat": 0.6})])
def test_refined_settings_are_the_fastest_of_a_grid(machine: Launcher, limits: dict[str, float]) -> None:
    # The refinement alone, without the population that its starts are taken from and without its last polish.
    problem = Problem(scenario(machine, wheel_speed=45.0, **limits), 2)
    axis = np.linspace(np.log(0.65), np.log(1.1), 21)
    grid = problem.look(np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2))
    found = refine(problem, problem.look(np.full((1, 2), np.log(0.75))), fastest, CANDIDATE_EFFORT)
    assert found.violation[0] <= 0.0
    assert found.exit_speed[0] >= np.where(grid.violation <= 0.0, grid.exit_speed, 0.0).max() * (1 - 1e-3)

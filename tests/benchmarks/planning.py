"""A certified plan of five stages against differential evolution on the same model."""

from __future__ import annotations

import time

import numpy as np
from scipy.optimize import differential_evolution

from stager.hardware.scenario import Scenario
from stager.physics.chain import throw
from stager.physics.options import Options
from stager.staging import plan
from tests.benchmarks.timing import Line
from tests.staging.machines import HEAVY, LIGHT, scenario

STAGES, NEAR, PATIENCE = 5, 1e-3, 400
ROUGH = Options(tolerance=1e-4)


def lines() -> list[Line]:
    """The table's rows."""
    return [_line("heavy wheels", HEAVY), _line("light wheels", LIGHT)]


def _line(words: str, machine: object) -> Line:
    task = scenario(machine, stages=STAGES, slip_heat=4.0, acceleration=9e3, wheel_speed=45.0)  # type: ignore[arg-type]
    began = time.process_time()
    best = plan(task, draws=0).best
    planned = time.process_time() - began
    if best is None:
        raise ValueError("the benchmark's own scenario has no plan")
    spent, reached = _evolve(task, best.count, float(best.exit_speed))
    against = "differential_evolution" + ("" if reached else f", given up {PATIENCE} generations on")
    what = f"certified plan, {best.count} stages, {words}"
    return Line(what, planned, against, spent / planned, "≥ 10", spent >= 10 * planned)


def _evolve(task: Scenario, stages: int, target: float) -> tuple[float, bool]:
    """Time [s] until a setting within the limits comes within NEAR of `target` [m/s], all of a generation at once."""
    allowed, machine = task.allowances, task.launcher

    def cost(speeds: np.ndarray) -> np.ndarray:
        done = throw(machine, speeds.T, options=ROUGH)
        over = np.maximum(done.stages.slip_heat.sum(-1) / allowed.slip_heat - 1, 0.0)
        over = over + np.maximum(done.stages.peak_acceleration.max(-1) / allowed.acceleration - 1, 0.0)
        return np.where(done.jammed, 0.0, -done.exit_speed) + 1e3 * over

    def near(*_: object, **__: object) -> bool:
        return best[0] <= -(1 - NEAR) * target

    best = [0.0]

    def watched(speeds: np.ndarray) -> np.ndarray:
        values = cost(speeds)
        best[0] = min(best[0], float(values.min()))
        return values

    began = time.process_time()
    differential_evolution(
        watched, [(0.5, float(allowed.wheel_speed))] * stages, vectorized=True, updating="deferred", rng=1,
        tol=0.0, maxiter=PATIENCE, polish=False, callback=near,
    )  # fmt: skip
    return time.process_time() - began, best[0] <= -(1 - NEAR) * target

"""A certified plan of five stages against differential evolution on the same model.

Differential evolution runs with its defaults (one throw per call) and vectorised (one generation per call of the same
contact kernel). The plan uses two processes, as the command does. Times are wall-clock times.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import differential_evolution

from stager.model.arrays import Number
from stager.model.launcher import Launcher, Scenario
from stager.optimise.planner import plan
from stager.optimise.records import Plan
from stager.parallel import open_executor
from stager.physics.chain import Options, throw
from tests.benchmarks.timing import Line, medians
from tests.optimise.machines import HEAVY, LIGHT, SEED, launcher, scenario, stage

STAGES, GAP, MAX_GENERATIONS = 5, 1e-3, 400
HALF = launcher(SEED, stage(inertia=0.5 * SEED.mass * 0.04**2))
"""J/R² is half the projectile's mass: the lightest wheels for which a small gap to the bound is promised."""
PLENTY, SCARCE = 20.0, 2.0
"""Slip heat limits [J]: above every plan's, and below that of heavy wheels."""
ROUGH = Options(tolerance=1e-4)
DEFAULT: dict[str, Any] = {"tol": 0.0, "maxiter": MAX_GENERATIONS, "polish": False}
"""Settings without its convergence tolerance, which could end it before it reaches the target."""
VECTORISED: dict[str, Any] = {**DEFAULT, "vectorized": True, "updating": "deferred"}


def lines() -> list[Line]:
    """Return the rows of the table."""
    return [
        *_lines("heavy wheels", HEAVY, PLENTY, "≥ 10"), *_lines("J/R² half the mass", HALF, PLENTY, "≥ 10"),
        *_lines("J/R² a seventh of the mass", LIGHT, PLENTY, "shown"),
        *_lines("heavy wheels, slip heat shared", HEAVY, SCARCE, "shown"),
    ]  # fmt: skip


def _lines(words: str, machine: Launcher, heat: float, alone: str) -> list[Line]:
    task = scenario(machine, stages=STAGES, slip_heat=heat, acceleration=9e3, wheel_speed=45.0)
    task = replace(task, realise=_unasked)
    found = _planned(task)
    (planned,), best = medians(lambda: _planned(task), clock=time.perf_counter), found.best
    if best is None or found.bound is None:
        raise ValueError("the benchmark's scenario has no plan")
    certificate = "certified" if not found.bound.missing else "bounded by the cap alone"
    what = f"plan, {certificate}, {best.count} stages, {words}"
    rows = []
    for form, settings, asked in (("default", DEFAULT, alone), ("vectorised", VECTORISED, "shown")):
        race = Race(task, (1 - GAP) * best.exit_speed)
        spent = race.run(best.count, settings)
        short = 100 * (race.best / best.exit_speed - 1)
        against = f"differential_evolution {form}" + ("" if race.won else f", which ended {short:+.2g} %")
        rows.append(Line(what, planned, against, spent / planned, asked, asked == "shown" or spent >= 10 * planned))
    return rows


def _planned(task: Scenario) -> Plan:
    with open_executor(None) as executor:
        return plan(task, draws=0, executor=executor)


def _unasked(values: Mapping[str, Number]) -> Launcher:
    raise ValueError("nothing is drawn here")


@dataclass
class Race:
    """Differential evolution until a feasible setting reaches `target` [m/s]; `best` is the fastest so far [m/s]."""

    task: Scenario
    target: float
    best: float = 0.0

    @property
    def won(self) -> bool:
        """Return whether the target was reached."""
        return self.best >= self.target

    def run(self, stages: int, settings: dict[str, Any]) -> float:
        """Run the search; return its time [s]."""
        bounds = [(0.5, float(self.task.limit_values.wheel_speed or 0.0))] * stages
        began = time.perf_counter()
        differential_evolution(self._cost, bounds, rng=1, callback=lambda *_, **__: self.won, **settings)
        return time.perf_counter() - began

    def _cost(self, speeds: np.ndarray) -> np.ndarray | float:
        """Return minus exit speed plus a penalty; speeds: (stages,) or (stages, settings) [m/s]."""
        allowed = self.task.limit_values
        done = throw(self.task.launcher, speeds.T, options=ROUGH)
        over = np.maximum(done.stages.slip_heat.sum(-1) / allowed.slip_heat - 1, 0.0)
        over = over + np.maximum(done.stages.peak_acceleration.max(-1) / allowed.acceleration - 1, 0.0)
        cost = np.where(done.jammed, 0.0, -done.exit_speed) + 1e3 * over
        self.best = max(self.best, float(-cost.min()))
        return cost if speeds.ndim > 1 else float(cost)

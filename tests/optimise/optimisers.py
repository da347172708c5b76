"""General optimisers on the same model, and drawn problems for them. All numbers are invented."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from scipy.optimize import NonlinearConstraint, differential_evolution, minimize

from stager.constraints import exit_cap as _cap
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.model.projectile import BALL, Projectile
from stager.physics.chain import Options, throw
from stager.physics.friction import Falling
from tests.optimise.lockstep import Ask, together
from tests.optimise.machines import launcher, scenario, stage

OPTIONS, FINE = Options(tolerance=1e-5), Options(tolerance=2e-6)
LOW, STEP, KEPT = 0.1, 1e-6, 1e-6


def problem(rng: np.random.Generator) -> Scenario:
    """Draw a ball launcher with one to six pairs and some limits on throw and wheels."""
    mass, count = rng.uniform(0.005, 0.05), int(rng.integers(1, 7))
    friction = Falling(static=rng.uniform(0.4, 1.0), sliding=rng.uniform(0.15, 0.35), fade_speed=rng.uniform(4.0, 14.0))
    wheel = stage(inertia=mass * 0.0016 * rng.choice([0.3, 1.0, 10.0, 100.0]), crush=rng.uniform(0.002, 0.005))
    ball = Projectile(shape=BALL, mass=mass, diameter=rng.uniform(0.03, 0.05))
    machine = launcher(ball, wheel, friction, feed=rng.uniform(0.8, 2.5), stiffness=rng.uniform(2e4, 6e4))
    limits = {"wheel_speed": rng.uniform(15.0, 45.0)}
    if rng.random() < 0.5:
        limits["slip_heat"] = mass * rng.uniform(20.0, 120.0)
    if rng.random() < 0.4:
        limits["exit_energy"] = 0.5 * mass * rng.uniform(8.0, 25.0) ** 2
    if rng.random() < 0.3:
        limits["acceleration"] = rng.uniform(3e3, 12e3)
    return scenario(machine, stages=count, **limits)


class Search:
    """Exit speed and slack of wheel speeds, given as shares of the highest allowed, shape (..., stages).

    fastest : greatest exit speed [m/s] of all evaluated settings within the limits (to 1e-6)
    at : its shares [-]
    """

    def __init__(self, task: Scenario) -> None:
        self.task, self.count = task, task.limit_values.stages
        self.top = task.limit_values.wheel_speed or 1.0
        self.bounds = [(LOW, 1.0)] * self.count
        self.fastest, self.at = 0.0, np.full(self.count, LOW)
        self._seen: dict[bytes, tuple[float, float]] = {}

    def look(self, shares: Floats, options: Options = OPTIONS) -> tuple[Floats, Floats]:
        """Return exit speed [m/s] (0: a jam) and the least slack [-]."""
        shares, allowed = np.asarray(shares), self.task.limit_values
        done = throw(self.task.launcher, shares * self.top, options=options)
        slack = 1 - done.exit_speed / float(_cap(self.task.launcher, self.task.limit_values))
        if allowed.slip_heat is not None:
            slack = np.minimum(slack, 1 - done.stages.slip_heat.sum(-1) / allowed.slip_heat)
        if allowed.acceleration is not None:
            slack = np.minimum(slack, 1 - done.stages.peak_acceleration.max(-1) / allowed.acceleration)
        kept = (slack >= -KEPT) & (shares.max(-1) <= 1 + 1e-9)
        value = np.atleast_1d(np.where(kept, done.exit_speed, 0.0))
        if value.max() > self.fastest:
            self.fastest = float(value.max())
            self.at = shares.reshape(-1, self.count)[int(np.argmax(value))]
        return done.exit_speed, slack

    def cost(self, shares: Floats) -> float:
        """Return minus the exit speed [m/s]."""
        return -self._remembered(shares)[0]

    def slack(self, shares: Floats) -> float:
        """Return the least slack, at least 0 if all limits are kept [-]."""
        return self._remembered(shares)[1]

    def _remembered(self, shares: Floats) -> tuple[float, float]:
        key = np.asarray(shares).tobytes()
        if key not in self._seen:
            speed, slack = self.look(shares)
            self._seen[key] = float(speed), float(slack)
        return self._seen[key]


def slsqp(search: Search, rng: np.random.Generator, starts: int = 16) -> None:
    """Run SLSQP from random starts, evaluated in one batch."""
    jobs = [partial(_slsqp, search, start) for start in rng.uniform(LOW, 1.0, (starts, search.count))]
    together(search.look, jobs)


def _slsqp(search: Search, start: Floats, ask: Ask) -> None:
    seen: dict[bytes, tuple[Floats, Floats]] = {}

    def known(shares: Floats) -> tuple[Floats, Floats]:
        """Return minus speed and slack, each followed by its slopes."""
        key = shares.tobytes()
        if key not in seen:
            steps = np.where(shares + STEP <= 1.0, STEP, -STEP)
            speed, slack = ask(np.vstack([shares, shares + np.diag(steps)]))
            seen[key] = tuple(np.append(y[0], (y[1:] - y[0]) / steps) for y in (-speed, slack))  # type: ignore[assignment]
        return seen[key]

    rule: Any = [{"type": "ineq", "fun": lambda x: known(x)[1][0], "jac": lambda x: known(x)[1][1:]}]
    minimize(lambda x: known(x)[0][0], start, jac=lambda x: known(x)[0][1:], bounds=search.bounds, constraints=rule,
             method="SLSQP", options={"maxiter": 60, "ftol": 1e-7})  # fmt: skip


def cobyqa(search: Search, rng: np.random.Generator) -> None:
    """Run COBYQA from the middle of the range."""
    rule = NonlinearConstraint(search.slack, 0.0, np.inf)
    minimize(search.cost, np.full(search.count, 0.5), bounds=search.bounds, constraints=rule,
             method="COBYQA", options={"maxfev": 300})  # fmt: skip


def evolution(search: Search, rng: np.random.Generator, generations: int = 80) -> None:
    """Run differential evolution, a generation per call."""

    def merit(shares: Floats) -> Floats:
        speed, slack = search.look(shares.T)
        return np.asarray(-speed + 100 * np.maximum(-slack, 0.0) * (1 + speed))

    differential_evolution(merit, search.bounds, rng=rng, maxiter=generations, popsize=12, polish=False,
                           vectorized=True, updating="deferred", tol=1e-8)  # fmt: skip


def samples(search: Search, rng: np.random.Generator, count: int = 10_000) -> None:
    """Evaluate random settings, half of them rising from stage to stage as fast settings do."""
    shares = rng.uniform(LOW, 1.0, (count, search.count))
    ramp = np.cumsum(rng.uniform(0.2, 1.0, (count // 2, search.count)), axis=1)
    shares[: count // 2] = np.maximum(ramp / ramp[:, -1:] * rng.uniform(0.3, 1.0, (count // 2, 1)), LOW)
    for part in np.array_split(shares, max(count // 1000, 1)):
        search.look(part)


SEARCHES = {"SLSQP": slsqp, "COBYQA": cobyqa, "evolution": evolution, "random": samples}


def reached(task: Scenario, name: str, rng: np.random.Generator, **effort: int) -> float:
    """Return the greatest feasible exit speed [m/s] that a search finds, checked at a finer tolerance.

    Wheel speeds are scaled slightly where the finer throw would break a limit.
    """
    search = Search(task)
    SEARCHES[name](search, rng, **effort)
    steps = np.geomspace(1e-7, 1e-3, 30)
    nearly = 1 + np.concatenate([[0.0], -steps, steps])[:, None]
    speed, slack = search.look(np.minimum(search.at * nearly, 1.0), FINE)
    return float(np.where(slack >= -KEPT, speed, 0.0).max())

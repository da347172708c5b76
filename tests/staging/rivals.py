"""General optimisers on the same model, and problems drawn for them and the plan. All numbers invented."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import NonlinearConstraint, differential_evolution, minimize

from stager.hardware.arrays import Floats
from stager.hardware.projectile import BALL, Projectile
from stager.hardware.scenario import Scenario
from stager.physics.chain import throw
from stager.physics.friction.falling import Falling
from stager.physics.options import Options
from stager.staging.aims import exit_cap
from tests.staging.machines import launcher, scenario, stage

OPTIONS = Options(tolerance=1e-5)
LOW = 0.1


def problem(rng: np.random.Generator) -> Scenario:
    """A ball between pairs: one to six stages, some of the limits on throw and wheels."""
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
    return scenario(machine, stages=count, **limits)


class Problem:
    """Exit speed and slacks of wheel speeds as shares of the greatest allowed, (..., stages)."""

    def __init__(self, task: Scenario) -> None:
        self.task, self.count = task, task.allowances.stages
        self.top = task.allowances.wheel_speed or 1.0
        self.bounds = [(LOW, 1.0)] * self.count
        self._seen: dict[bytes, tuple[float, float]] = {}

    def look(self, shares: Floats) -> tuple[Floats, Floats]:
        """Exit speed [m/s] (0: a jam) and the least slack [-]."""
        done = throw(self.task.launcher, np.asarray(shares) * self.top, options=OPTIONS)
        slack = 1 - done.exit_speed / exit_cap(self.task)
        if self.task.allowances.slip_heat is not None:
            slack = np.minimum(slack, 1 - done.stages.slip_heat.sum(-1) / self.task.allowances.slip_heat)
        return done.exit_speed, slack

    def cost(self, shares: Floats) -> float:
        """What is minimised."""
        return -self._remembered(shares)[0]

    def slack(self, shares: Floats) -> float:
        """≥ 0 where all limits are kept."""
        return self._remembered(shares)[1]

    def _remembered(self, shares: Floats) -> tuple[float, float]:
        key = np.asarray(shares).tobytes()
        if key not in self._seen:
            speed, slack = self.look(shares)
            self._seen[key] = float(speed), float(slack)
        return self._seen[key]

    def worth(self, shares: Floats) -> float:
        """Exit speed where all limits are kept to a millionth, else 0 [m/s]."""
        speed, slack = self.look(np.clip(shares, LOW, 1.0))
        return float(speed) if float(slack) >= -1e-6 else 0.0


def slsqp(rivalry: Problem, rng: np.random.Generator, starts: int = 16) -> float:
    """The best of SLSQP from random starts [m/s]."""
    rule: Any = [{"type": "ineq", "fun": rivalry.slack}]
    best = 0.0
    for start in rng.uniform(LOW, 1.0, (starts, rivalry.count)):
        found = minimize(rivalry.cost, start, bounds=rivalry.bounds, constraints=rule, method="SLSQP",
                         options={"maxiter": 40})  # fmt: skip
        best = max(best, rivalry.worth(found.x))
    return best


def cobyqa(rivalry: Problem, rng: np.random.Generator) -> float:
    """COBYQA from the middle [m/s]."""
    rule = NonlinearConstraint(rivalry.slack, 0.0, np.inf)
    found = minimize(rivalry.cost, np.full(rivalry.count, 0.5), bounds=rivalry.bounds, constraints=rule,
                     method="COBYQA", options={"maxfev": 300})  # fmt: skip
    return rivalry.worth(found.x)


def evolution(rivalry: Problem, rng: np.random.Generator, generations: int = 80) -> float:
    """Differential evolution, all of a generation at once [m/s]."""

    def merit(shares: Floats) -> Floats:
        speed, slack = rivalry.look(shares.T)
        return np.asarray(-speed + 100 * np.maximum(-slack, 0.0) * (1 + speed))

    found = differential_evolution(merit, rivalry.bounds, rng=rng, maxiter=generations, popsize=12, polish=False,
                                   vectorized=True, updating="deferred", tol=1e-8)  # fmt: skip
    return rivalry.worth(found.x)

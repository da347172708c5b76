"""Polish settings in the true model by sequential linear programming with one-sided slopes.

The best settings lie on kinks: each wheel as fast as it still just catches the projectile. A linear model with one
slope is wrong there. So each variable is tried both ways, the model takes the slope of the way it goes, and a trust
region that shrinks where the model was wrong does the rest. Limits are elastic: a start that breaks some is led back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.optimise.problem import KEPT, Problem, Trial

Objective = Callable[[Trial], Floats]
"""What is to be the greatest, of samples, (samples,)."""
SHARES = np.array([1.0, 0.6, 0.3, 0.1, 0.03])
"""Of a step, all tried together [-]."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How closely a search looks: rounds; radius of the first trust region, and the one that ends it [-]."""

    rounds: int = 24
    radius: float = 0.08
    smallest: float = 2e-5
    gain: float = 2e-7


CLOSE, QUICKLY = Effort(), Effort(rounds=8, radius=0.03, smallest=2e-4, gain=1e-5)


def fastest(trial: Trial) -> Floats:
    """Exit speed."""
    return trial.exit_speed


def coolest(trial: Trial) -> Floats:
    """Slip heat, the least of it."""
    return -trial.heat


def score(objective: Objective, trial: Trial) -> Floats:
    """Rank samples: feasible ones by the objective, before all others by how far they are from it."""
    with np.errstate(invalid="ignore"):
        return np.where(trial.violation <= 0.0, np.nan_to_num(objective(trial), neginf=-1e9), -1e12 * (1 + trial.violation))


def best(objective: Objective, trial: Trial) -> Trial:
    """Return the best sample, as a trial of one."""
    return trial.take([int(np.argmax(score(objective, trial)))])


def refine(
    problem: Problem, start: Trial, objective: Objective, effort: Effort = CLOSE, least: float = 0.0
) -> Trial:
    """Return the best settings found from `start`, a trial of one.

    least: exit speed that settings must have [m/s], 0: none.
    """
    kept = here = start
    radius, penalty = effort.radius, 10.0
    for _ in range(effort.rounds):
        if here.jammed[0]:
            break
        step = float(np.clip(radius / 3, 5e-5, 1e-3))
        model = _Model(problem, here, objective, step, least)
        move, promised, price = model.step(radius, penalty)
        penalty = max(penalty, 2.0 * price)
        if not np.isfinite(move).all() or np.abs(move).max(initial=0.0) == 0.0:
            radius *= 0.2
            if radius < effort.smallest:
                break
            continue
        trials = problem.look(here.x + SHARES[:, None] * move)
        around = model.trials.join(trials)
        merit = _merit(around, objective, model.scale, penalty, least)
        before = _merit(here, objective, model.scale, penalty, least)[0]
        place = int(np.argmax(merit))
        gained = float(merit[place] - before)
        if gained > 0:
            here = around.take([place])
        kept = _better(objective, kept, around, least)
        whole = gained > 0.5 * promised
        radius = min(radius * 1.6, 0.3) if whole else radius * (0.5 if gained > 0.1 * promised else 0.25)
        if radius < effort.smallest or (promised < effort.gain and gained < effort.gain and radius < 1e-3):
            break
    return kept


def _better(objective: Objective, kept: Trial, around: Trial, least: float) -> Trial:
    """The best of what was kept and what was looked at."""
    both = kept.join(around)
    value = score(objective, both)
    if least:
        value = np.where(both.exit_speed >= least, value, value - 1e10)
    return both.take([int(np.argmax(value))])


def _merit(trial: Trial, objective: Objective, scale: float, penalty: float, least: float) -> Floats:
    short = np.maximum(1.0 - trial.exit_speed / least, 0.0) if least else 0.0
    with np.errstate(invalid="ignore"):
        merit = objective(trial) / scale - penalty * (np.minimum(trial.violation, 50.0) + short)
    return np.where(trial.jammed | ~np.isfinite(merit), -np.inf, merit)


class _Model:
    """Slopes of objective and slacks about a setting, either way of each variable."""

    def __init__(self, problem: Problem, here: Trial, objective: Objective, step: float, least: float) -> None:
        size = problem.size
        self.problem, self.here, self.least = problem, here, least
        ups, downs = np.eye(size) * step, -np.eye(size) * step
        self.trials = problem.look(here.x + np.vstack([ups, downs]))
        values = self._values(here, objective)[0]
        self.scale = max(abs(float(values[0])), 1e-9)
        values = values / np.append(self.scale, np.ones(values.size - 1))
        around = self._values(self.trials, objective) / np.append(self.scale, np.ones(values.size - 1))
        moved = np.abs(self.trials.x - here.x).max(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            slopes = (around - values) / moved[:, None]
        open_to = (moved > 0) & ~self.trials.jammed & np.isfinite(slopes).all(axis=1)
        slopes[~open_to] = 0.0
        self.up, self.down, self.open_up, self.open_down = slopes[:size], slopes[size:], open_to[:size], open_to[size:]
        # A valley has a slope both ways at once: there the mean slope serves.
        valley = (self.up[:, 0] + self.down[:, 0] > 1e-9) & self.open_up & self.open_down
        mean = (self.up - self.down) / 2
        self.up = np.where(valley[:, None], mean, self.up)
        self.down = np.where(valley[:, None], -mean, self.down)
        self.values = values

    def _values(self, trial: Trial, objective: Objective) -> Floats:
        rows = [objective(trial), *trial.slack.T]
        if self.least:
            rows.append(trial.exit_speed / self.least - 1.0)
        return np.stack([np.nan_to_num(row, posinf=1e6, neginf=-1e6) for row in rows], axis=-1)

    def step(self, radius: float, penalty: float) -> tuple[Floats, float, float]:
        """The step of the linear programme, the merit it promises, and the greatest price of a limit."""
        from scipy.optimize import linprog

        size, x = self.problem.size, self.here.x[0]
        slack = self.values[1:]
        slopes = np.concatenate([self.up, self.down])
        reach = radius * np.abs(slopes[:, 1:]).sum(axis=0)
        near = np.flatnonzero(slack < reach + 10 * KEPT)
        limits = near.size
        cost = np.concatenate([-slopes[:, 0], np.full(limits, penalty)])
        rows = np.hstack([-slopes[:, 1 + near].T, -np.eye(limits)]) if limits else None
        right = slack[near] if limits else None
        room_up = np.where(self.open_up, np.minimum(radius, self.problem.high - x), 0.0)
        room_down = np.where(self.open_down, np.minimum(radius, x - self.problem.low), 0.0)
        room = np.maximum(np.concatenate([room_up, room_down]), 0.0)
        bounds = np.column_stack([np.zeros(2 * size + limits), np.concatenate([room, np.full(limits, np.inf)])])
        found = linprog(cost, A_ub=rows, b_ub=right, bounds=bounds, method="highs")
        if found.x is None:
            return np.zeros(size), 0.0, 0.0
        move = found.x[:size] - found.x[size : 2 * size]
        before = float(np.maximum(-slack, 0.0).sum())
        promised = float(-found.fun + penalty * before)
        price = float(np.abs(found.ineqlin.marginals).max(initial=0.0)) if limits else 0.0
        return move, promised, min(price, 1e3)

"""Polish settings in the true model by sequential linear programming with one-sided slopes.

The best settings lie on kinks, where each wheel just catches the projectile, so a linear model with one slope per
variable is wrong. Each variable is tried in both directions, the model uses the slope of the direction it steps in, and
a trust region shrinks where the model was wrong. Limits are elastic: a start that breaks some is led back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.optimise.problem import KEPT, Problem, Trial

Objective = Callable[[Trial], Floats]
"""Returns what is to be maximised, (samples,)."""
SHARES = np.array([1.0, 0.7, 0.4, 0.15, 0.03])
"""Shares of a step that are all tried [-]."""
STEP = 1e-4
"""Step of central differences in `smooth` [-]."""
ROOM = 0.3
"""Greatest change of a variable in `smooth` [-]."""
AIMED = 1e-7
"""Least slack that `smooth` aims at [-]."""
CHECK_RADIUS = 3e-3
"""Trust region in which the result is checked for further gain [-]."""
UNSETTLED = 5e-6
"""Promised gain in that region above which the result is not on a kink [-]."""
JOINED = 0.01
"""Distance to known settings at which a refinement ends [-]."""
INNER = 0.3
"""Inner of the two points tried on either side of a variable, over the trust region [-]."""


@dataclass(frozen=True, slots=True)
class Effort:
    """Effort of a refinement.

    rounds: greatest number of steps; radius, smallest: first and last trust region [-]; gain: gain that is too small
    to go on for [-]; finish: use `smooth` where the result is not on a kink.
    """

    rounds: int = 16
    radius: float = 0.08
    smallest: float = 2e-5
    gain: float = 2e-7
    finish: bool = False


CLOSE = Effort(finish=True)
"""Effort for answers."""
ROUGHLY = Effort(rounds=12, smallest=5e-5, gain=5e-6)
"""Effort for candidates of which the best is refined again."""
QUICKLY = Effort(rounds=8, radius=0.03, smallest=2e-4, gain=1e-5)
"""Effort for comparing candidates."""


def fastest(trial: Trial) -> Floats:
    """Return exit speed [m/s], to be maximised."""
    return trial.exit_speed


def coolest(trial: Trial) -> Floats:
    """Return minus the slip heat [J], to be maximised."""
    return -trial.heat


def score(objective: Objective, trial: Trial) -> Floats:
    """Return a rank value: feasible samples by the objective, infeasible ones below them by their violation."""
    with np.errstate(invalid="ignore"):
        value = np.nan_to_num(objective(trial), neginf=-1e9)
        return np.where(trial.violation <= 0.0, value, -1e12 * (1 + trial.violation))


def best(objective: Objective, trial: Trial) -> Trial:
    """Return the best sample, as a trial of one."""
    return trial.take([int(np.argmax(score(objective, trial)))])


def refine(
    problem: Problem, start: Trial, objective: Objective, effort: Effort = CLOSE, least: float = 0.0,
    known: Trial | None = None,
) -> Trial:  # fmt: skip
    """Return the best settings found from `start`, a trial of one.

    least: least exit speed [m/s], 0: none; known: settings refined before, beside which there is nothing to find.
    """
    kept = here = start
    radius, penalty = effort.radius, 10.0
    for _ in range(effort.rounds):
        if here.jammed[0]:
            break
        model = _Model(problem, here, objective, radius, least)
        move, promised, price = model.step(penalty)
        penalty = max(penalty, 2.0 * price)
        trials = problem.look(here.x + SHARES[:, None] * move)
        around = model.trials.join(trials)
        merit = _merit(around, objective, model.scale, penalty, least)
        before = _merit(here, objective, model.scale, penalty, least)[0]
        place = int(np.argmax(merit))
        gained = float(merit[place] - before)
        kept = _better(objective, kept, around, least)
        reach = np.abs(around.x[place] - here.x[0]).max() if gained > 0 else 0.0
        if gained > 0:
            here = around.take([place])
        if known is not None and np.abs(here.x - known.x).max() < JOINED and known.violation[0] <= 0.0:
            break
        whole, part = reach > 0.9 * radius and gained > 0.5 * promised, gained > 0.3 * promised
        radius = min(radius * 1.7, 0.3) if whole else radius * (0.6 if part and reach > 0.4 * radius else 0.3)
        if radius < effort.smallest or (max(promised, gained) < effort.gain and radius < 30 * effort.smallest):
            break
    if effort.finish and not kept.jammed[0]:
        _, promised, _ = _Model(problem, kept, objective, CHECK_RADIUS, least).step(penalty)
        if promised > UNSETTLED:
            # The settings are not on a kink, so smooth models are better.
            return smooth(problem, kept, objective, effort, least)
    return kept


def smooth(problem: Problem, start: Trial, objective: Objective, effort: Effort, least: float = 0.0) -> Trial:
    """Polish settings away from kinks by sequential quadratic programming (SLSQP, Kraft 1988)."""
    from scipy.optimize import minimize

    if start.jammed[0]:
        return start
    size, scale = problem.size, max(abs(float(objective(start)[0])), 1e-9)
    kept, seen = start, dict[bytes, tuple[Floats, Floats]]()
    moves = np.vstack([np.zeros(size), STEP * np.eye(size), -STEP * np.eye(size)])

    def values(x: Floats) -> tuple[Floats, Floats]:
        """Return minus the objective, and the slacks, (rows,), and their slopes, (rows, variables)."""
        nonlocal kept
        key = x.tobytes()
        if key not in seen:
            trials = problem.look(x + moves)
            kept = _better(objective, kept, trials, least)
            rows = [-objective(trials) / scale, *(trials.slack.T - AIMED)]
            if least:
                rows.append(trials.exit_speed / least - 1.0)
            table = np.nan_to_num(np.stack(rows), posinf=1e3, neginf=-1e3)
            seen[key] = table[:, 0], (table[:, 1 : size + 1] - table[:, size + 1 :]) / (2 * STEP)
        return seen[key]

    limits = [{"type": "ineq", "fun": lambda x: values(x)[0][1:], "jac": lambda x: values(x)[1][1:]}]
    here = start.x[0]
    minimize(
        lambda x: float(values(x)[0][0]), here, jac=lambda x: values(x)[1][0], method="SLSQP", constraints=limits,
        bounds=np.column_stack([np.maximum(problem.low, here - ROOM), np.minimum(problem.high, here + ROOM)]),
        options={"maxiter": effort.rounds, "ftol": 1e-8},
    )  # fmt: skip
    return kept


def _better(objective: Objective, kept: Trial, around: Trial, least: float) -> Trial:
    """Return the best of `kept` and `around`."""
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
    """Piecewise linear model of objective and slacks around a setting, with two points on either side per variable."""

    def __init__(self, problem: Problem, here: Trial, objective: Objective, radius: float, least: float) -> None:
        size = problem.size
        self.problem, self.here, self.least = problem, here, least
        ends = [way * np.eye(size) for way in (1.0, -1.0)]
        moves = np.vstack([share * radius * end for share in (INNER, 1.0) for end in ends])
        self.trials = problem.look(here.x + moves)
        values = self._values(here, objective)[0]
        self.scale = max(abs(float(values[0])), 1e-9)
        unit = np.append(self.scale, np.ones(values.size - 1))
        self.values = values / unit
        around = (self._values(self.trials, objective) / unit).reshape(2, 2 * size, -1)
        moved = np.abs(self.trials.x - here.x).max(axis=1).reshape(2, 2 * size)
        jammed = self.trials.jammed.reshape(2, 2 * size)
        # Segments: from here to the inner point, and on to the outer one, first all up, then all down.
        self.length = np.stack([moved[0], moved[1] - moved[0]])
        rise = np.stack([around[0] - self.values, around[1] - around[0]])
        with np.errstate(divide="ignore", invalid="ignore"):
            slopes = rise / self.length[..., None]
        shut = jammed | (self.length <= 0) | ~np.isfinite(slopes).all(axis=2)
        shut[1] |= shut[0]
        slopes[shut] = 0.0
        self.length = np.where(shut, 0.0, self.length)
        # In a valley the objective rises in both directions; use the mean slope there.
        up, down = slopes[0, :size], slopes[0, size:]
        valley = (up[:, 0] + down[:, 0] > 1e-9) & ~shut[0, :size] & ~shut[0, size:]
        mean = (up - down) / 2
        for row in slopes:
            row[:size][valley], row[size:][valley] = mean[valley], -mean[valley]
        self.slopes = slopes.reshape(4 * size, -1)

    def _values(self, trial: Trial, objective: Objective) -> Floats:
        rows = [objective(trial), *trial.slack.T]
        if self.least:
            rows.append(trial.exit_speed / self.least - 1.0)
        return np.stack([np.nan_to_num(row, posinf=1e6, neginf=-1e6) for row in rows], axis=-1)

    def step(self, penalty: float) -> tuple[Floats, float, float]:
        """Return the step of the linear programme, the gain of merit it promises, and a limit's greatest multiplier."""
        from scipy.optimize import linprog

        size, slack, length = self.problem.size, self.values[1:], self.length.ravel()
        reach = (np.abs(self.slopes[:, 1:]) * length[:, None]).sum(axis=0)
        near = np.flatnonzero(slack < reach + 10 * KEPT)
        cost = np.concatenate([-self.slopes[:, 0], np.full(near.size, penalty)])
        rows = np.hstack([-self.slopes[:, 1 + near].T, -np.eye(near.size)]) if near.size else None
        ends = np.concatenate([length, np.full(near.size, np.inf)])
        found = linprog(
            cost, A_ub=rows, b_ub=slack[near] if near.size else None,
            bounds=np.column_stack([np.zeros(ends.size), ends]), method="highs",
        )  # fmt: skip
        if found.x is None:
            return np.zeros(size), 0.0, 0.0
        taken = found.x[: 4 * size].reshape(2, 2 * size).sum(axis=0)
        promised = float(-found.fun + penalty * np.maximum(-slack, 0.0).sum())
        price = float(np.abs(found.ineqlin.marginals).max(initial=0.0)) if near.size else 0.0
        return taken[:size] - taken[size:], promised, min(price, 1e3)

"""Maximise under limits by quadratic models of everything, fitted to batches of trials.

A trial costs next to nothing more in a batch than alone, so each round looks at many in a box around the best one,
fits a quadratic to the objective and to each limit, lets SLSQP find the models' best point, tries it, and shrinks or
grows the box by how well that went. Nothing is taken from a model without a trial.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats

Trial = Callable[[Floats], tuple[Floats, Floats]]
"""Objective (trials,) and slacks (trials, limits) of points (trials, variables); slack ≥ 0 is kept, NaN: no throw."""

PENALTY, STRICTEST = 10.0, 1e3
SMALLEST, SMALL, LEVEL = 1e-5, 3e-4, 1e-8


@dataclass(frozen=True, slots=True)
class Found:
    """The best point (variables,), its objective, its slacks (limits,)."""

    point: Floats
    objective: float
    slacks: Floats

    @property
    def kept(self) -> bool:
        """Whether all limits are kept."""
        return bool((self.slacks >= -1e-9).all())


def improve(
    trial: Trial, start: Floats, low: Floats, high: Floats, *, radius: float = 0.05, rounds: int = 8, seed: int = 0
) -> Found:
    """The best point found from `start` within the box `low` … `high`, arrays (variables,), all pure numbers [-].

    radius: half-width of the first box around it, as a share of high − low.
    """
    penalty = PENALTY
    found = _improve(trial, start, low, high, radius, rounds, seed, penalty)
    # Where breaking a limit a little pays more than the penalty on it, that was too small.
    while not found.kept and penalty < STRICTEST:
        penalty *= 10
        found = _improve(trial, start, low, high, radius, rounds, seed, penalty)
    return found


def _improve(
    trial: Trial, start: Floats, low: Floats, high: Floats, radius: float, rounds: int, seed: int, penalty: float
) -> Found:
    """The same with breaking a limit by its whole allowance `penalty` times as bad as the largest objective."""
    rng = np.random.default_rng(seed)
    width = high - low
    start = np.clip(start, low, high)
    best = _best(trial, start[None], penalty)
    for _ in range(rounds):
        points = _around(best.point, radius * width, low, high, rng)
        objective, slacks = trial(points)
        merit = _merit(objective, slacks, penalty)
        kept = np.isfinite(merit)
        before = _score(best, penalty)
        leader = int(np.argmax(merit))
        if merit[leader] > before:
            best = Found(points[leader], float(objective[leader]), slacks[leader])
        if kept.sum() > points.shape[1] + 1:
            target = _model_best(points[kept], objective[kept], slacks[kept], best.point, radius * width, low, high)
            steps = np.array([1.0, 0.5, 0.999])[:, None]
            better = _best(trial, best.point + steps * (target - best.point), penalty)
            if _score(better, penalty) > _score(best, penalty):
                best = better
        after = _score(best, penalty)
        gained = (after - before) / max(abs(before), 1e-12)
        if radius < SMALLEST or (radius < SMALL and gained < LEVEL):
            break
        radius *= 0.35 if gained < 1e-4 else 0.8
    return best


def _score(found: Found, penalty: float) -> float:
    return float(_merit(np.array([found.objective]), found.slacks[None], penalty)[0])


def _merit(objective: Floats, slacks: Floats, penalty: float) -> Floats:
    broken = np.maximum(-slacks, 0.0).sum(axis=-1) if slacks.shape[-1] else np.zeros(objective.shape)
    scale = np.nanmax(np.abs(objective), initial=1e-12)
    merit = objective - penalty * scale * broken
    return np.where(np.isfinite(merit), merit, -np.inf)


def _best(trial: Trial, points: Floats, penalty: float) -> Found:
    objective, slacks = trial(points)
    place = int(np.argmax(_merit(objective, slacks, penalty)))
    return Found(points[place], float(objective[place]), slacks[place])


def _around(centre: Floats, reach: Floats, low: Floats, high: Floats, rng: np.random.Generator) -> Floats:
    size = centre.size
    count = 2 * _terms(size)
    spread = rng.uniform(-1.0, 1.0, (count, size)) * rng.uniform(0.2, 1.0, (count, 1))
    axes = np.vstack([np.eye(size), -np.eye(size)])
    return np.clip(centre + np.vstack([np.zeros((1, size)), axes, spread]) * reach, low, high)


def _terms(size: int) -> int:
    return 1 + size + size * (size + 1) // 2


def _basis(points: Floats) -> Floats:
    size = points.shape[-1]
    rows, columns = np.triu_indices(size)
    ones = np.ones((*points.shape[:-1], 1))
    return np.concatenate([ones, points, points[..., rows] * points[..., columns]], axis=-1)


def _model_best(
    points: Floats, objective: Floats, slacks: Floats, centre: Floats, reach: Floats, low: Floats, high: Floats
) -> Floats:
    """Best point of the quadratic models in the box."""
    from scipy.optimize import minimize

    scaled = (points - centre) / reach
    values = np.column_stack([objective, slacks])
    scale = np.maximum(np.ptp(values, axis=0), 1e-12)
    offset = values[0]
    # Near points count more: far ones may lie across a kink.
    weight = 1.0 / (0.3 + np.abs(scaled).max(axis=1))
    shifted = (values - offset) / scale
    model, *_ = np.linalg.lstsq(_basis(scaled) * weight[:, None], shifted * weight[:, None], rcond=None)
    size = centre.size
    rows, columns = np.triu_indices(size)
    rise, bent = model[1 : 1 + size], np.zeros((model.shape[1], size, size))
    bent[:, rows, columns] = model[1 + size :].T
    twice = bent + bent.transpose(0, 2, 1)

    def value(point: Floats) -> Floats:
        return np.asarray(model[0] + point @ rise + bent @ point @ point)

    def slope(point: Floats) -> Floats:
        return np.asarray(rise + (twice @ point).T)

    bounds = list(zip(np.maximum((low - centre) / reach, -1.0), np.minimum((high - centre) / reach, 1.0), strict=True))
    limits = []
    if slacks.shape[1]:
        level = offset[1:] / scale[1:]
        limits = [
            {"type": "ineq", "fun": lambda point: value(point)[1:] + level, "jac": lambda point: slope(point)[:, 1:].T}
        ]
    found = minimize(
        lambda point: -value(point)[0], np.zeros(size), jac=lambda point: -slope(point)[:, 0],
        bounds=bounds, constraints=limits, method="SLSQP", options={"maxiter": 60, "ftol": 1e-9},
    )  # fmt: skip
    point = found.x if np.isfinite(found.x).all() else np.zeros(size)
    return np.clip(centre + point * reach, low, high)

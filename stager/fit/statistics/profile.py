"""Intervals by profile likelihood: how much worse the best fit gets as one parameter is held elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.statistics.least import Problem, normal_equations
from stager.model.arrays import Floats

LEVEL = 1.920729410347062
"""Half the 95 % quantile of chi squared with one degree of freedom."""

STEPS = np.array([-3.0, -2.0, -1.2, 1.2, 2.0, 3.0])
ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One parameter: places (steps,) and how much the objective rises there (steps,); interval at 95 %.

    An end is ±inf where the objective does not rise enough as far as was looked.
    """

    place: Floats
    rise: Floats
    interval: tuple[float, float]


def profiles(
    problem: Problem,
    best: Floats,
    objective: float,
    jacobian: Floats,
    curvature: Floats,
    *,
    steps: Floats = STEPS,
    rounds: int = ROUNDS,
) -> list[Profile]:
    """Profiles of every parameter around a minimum: best (p,), jacobian (n, p), curvature (p, p).

    All parameters and steps are lanes of one batch. The others are refitted with the slopes of the minimum, which
    needs no further difference quotients; rounds of it.
    """
    size = best.size
    spread = np.linalg.inv(curvature)
    held = np.repeat(np.arange(size), steps.size)
    move = np.tile(steps, size)
    lanes = np.arange(held.size)
    along = spread[held] / np.sqrt(spread[held, held])[:, None]
    place = best + along * move[:, None]
    least = np.full(held.size, np.inf)
    for _ in range(rounds):
        values, residuals, weights = problem.value(place)
        least = np.minimum(least, values)
        everywhere = np.broadcast_to(jacobian, (held.size, *jacobian.shape))
        inner, slope = normal_equations(problem, place, residuals, weights, everywhere)
        # Holding one parameter: its row and column become the identity.
        inner[lanes, held, :] = 0.0
        inner[lanes, :, held] = 0.0
        inner[lanes, held, held] = 1.0
        slope[lanes, held] = 0.0
        place = place - np.linalg.solve(inner + 1e-9 * np.eye(size), slope[..., None])[..., 0]
    least = np.minimum(least, problem.value(place)[0])
    rises = (least - objective).reshape(size, steps.size)
    places = best[:, None] + np.sqrt(np.diagonal(spread))[:, None] * steps
    return [
        Profile(place=places[k], rise=rises[k], interval=_crossings(best[k], places[k], rises[k])) for k in range(size)
    ]


def _crossings(best: float, place: Floats, rise: Floats) -> tuple[float, float]:
    """Where the signed root of the rise crosses ±√LEVEL, by straight lines: it is straight where the fit is linear."""
    root = np.sign(place - best) * np.sqrt(np.maximum(rise, 0.0))
    middle = np.searchsorted(place, best)
    where, height = np.insert(place, middle, best), np.maximum.accumulate(np.insert(root, middle, 0.0))
    target = np.sqrt(LEVEL)
    low = np.interp(-target, height, where, left=-np.inf)
    high = np.interp(target, height, where, right=np.inf)
    return float(low), float(high)

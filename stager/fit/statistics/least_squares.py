"""Least squares with damping (Levenberg–Marquardt), many starts in one batch; intervals by profile likelihood.

Residuals e(z) come from a function of (lanes, parameters) arrays, so that all lanes, and all the steps of a difference
quotient, are one call. What is minimised is loss(e) + ½ Σ p(z)², p: what pulls each parameter to where it is expected;
a loss gives its value and the weights that turn it into weighted least squares near e.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats

Residuals = Callable[[Floats], Floats]
"""From parameters (lanes, p) to residuals (lanes, n)."""


Pull = Callable[[Floats], tuple[Floats, Floats]]
"""From parameters (lanes, p) to how far each is from where it is expected, in its standard deviations, and the slope of
that, both (lanes, p)."""


def free(place: Floats) -> tuple[Floats, Floats]:
    """No pull at all."""
    return np.zeros_like(place), np.zeros_like(place)


class Loss(Protocol):
    """How bad residuals are."""

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Values (lanes,) and weights (lanes, n) with d value / d e = weights × e, for residuals (lanes, n)."""
        ...


class Squares:
    """½ Σ e²."""

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Half the sum of squares, and ones."""
        return np.asarray(0.5 * (residuals**2).sum(axis=-1)), np.ones_like(residuals)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """residuals and loss; pull of the prior; step of the difference quotients, (p,); central: two-sided ones."""

    residuals: Residuals
    loss: Loss
    step: Floats
    pull: Pull = free
    central: bool = False

    def value(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """Objective (lanes,), residuals and weights (lanes, n) at `place` (lanes, p)."""
        residuals = self.residuals(place)
        bad = np.asarray(~np.isfinite(residuals).all(axis=-1))
        residuals = np.where(bad[:, None], 1e3, residuals)
        loss, weights = self.loss(residuals)
        total = loss + 0.5 * (self.pull(place)[0] ** 2).sum(axis=-1)
        return np.where(bad, np.inf, total), residuals, weights

    def jacobian(self, place: Floats, residuals: Floats, step: Floats) -> Floats:
        """de/dz (lanes, n, p) around `place` (lanes, p) by steps (lanes, p), all in one call."""
        lanes, count = place.shape
        if count == 0:
            return np.zeros((*residuals.shape, 0))
        moved = place[:, None, :] + np.eye(count) * step[:, None, :]
        if not self.central:
            ahead = self.residuals(moved.reshape(-1, count)).reshape(lanes, count, -1)
            return np.swapaxes((ahead - residuals[:, None, :]) / step[:, :, None], 1, 2)
        both = np.concatenate([moved, 2 * place[:, None, :] - moved], axis=1)
        found = self.residuals(both.reshape(-1, count)).reshape(lanes, 2 * count, -1)
        return np.swapaxes((found[:, :count] - found[:, count:]) / (2 * step[:, :, None]), 1, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Minimum:
    """Of each lane: place (lanes, p), objective (lanes,), residuals and weights (lanes, n), jacobian (lanes, n, p),
    curvature JᵀWJ + the pull's (lanes, p, p), converged (lanes,)."""

    place: Floats
    objective: Floats
    residuals: Floats
    weights: Floats
    jacobian: Floats
    curvature: Floats
    converged: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

    @property
    def best(self) -> int:
        """The lane with the least objective."""
        return int(np.argmin(self.objective))


DAMPINGS = np.array([0.1, 1.0, 10.0])
LEAST_DAMPING, GREATEST_DAMPING = 1e-12, 1e12


def minimise(
    problem: Problem,
    start: Floats,
    *,
    iterations: int = 30,
    tolerance: float = 1e-4,
    adapt: bool = False,
    damping: float = 1e-2,
) -> Minimum:
    """Minimise from each of `start` (lanes, p).

    tolerance: a lane is done when a full step promises a smaller fall of the objective; adapt: steps shrink with the
    parameter's own uncertainty, so that rough residuals are differenced over what matters. Three dampings are tried at
    once in each iteration.
    """
    place = np.array(start, dtype=np.float64)
    lanes, count = place.shape
    objective, residuals, weights = problem.value(place)
    step = np.broadcast_to(problem.step, place.shape).copy()
    damp = np.full(lanes, damping)
    done = np.zeros(lanes, dtype=bool)
    jacobian = np.zeros((*residuals.shape, count))
    for _ in range(iterations if count else 0):
        live = np.flatnonzero(~done)
        if live.size == 0:
            break
        jacobian[live] = problem.jacobian(place[live], residuals[live], step[live])
        curvature, slope = normal_equations(problem, place[live], residuals[live], weights[live], jacobian[live])
        there = _decrement(curvature, slope) < tolerance
        if there.any():
            done[live[there]] = True
            live, curvature, slope = live[~there], curvature[~there], slope[~there]
        if live.size == 0:
            break
        trials = np.stack([place[live] - _solve(curvature, slope, damp[live] * factor) for factor in DAMPINGS])
        values, found, found_weights = problem.value(trials.reshape(-1, count))
        values = values.reshape(DAMPINGS.size, -1)
        pick = np.argmin(values, axis=0)
        best, flat = values[pick, np.arange(live.size)], pick * live.size + np.arange(live.size)
        better = best < objective[live]
        fall = objective[live] - best
        moved = live[better]
        place[moved] = trials.reshape(-1, count)[flat[better]]
        residuals[moved], weights[moved] = found[flat[better]], found_weights[flat[better]]
        objective[moved] = best[better]
        damp[live] = np.clip(damp[live] * np.where(better, DAMPINGS[pick] * 0.5, 30.0), LEAST_DAMPING, GREATEST_DAMPING)
        if adapt:
            spread = np.sqrt(np.diagonal(np.linalg.inv(_sound(curvature)), axis1=-2, axis2=-1))
            step[live] = np.clip(0.3 * spread, 0.1 * problem.step, problem.step)
        stuck = ~better & (damp[live] >= GREATEST_DAMPING)
        # Of rough residuals no step may be better although the slopes promise a little: near enough.
        near = np.abs(fall) < (10 * tolerance if adapt else 0.0)
        done[live[stuck | near]] = True
    jacobian = problem.jacobian(place, residuals, step)
    curvature, _ = normal_equations(problem, place, residuals, weights, jacobian)
    return Minimum(
        place=place, objective=objective, residuals=residuals, weights=weights, jacobian=jacobian,
        curvature=curvature, converged=done,
    )  # fmt: skip


def normal_equations(
    problem: Problem, place: Floats, residuals: Floats, weights: Floats, jacobian: Floats
) -> tuple[Floats, Floats]:
    """Curvature (lanes, p, p) and gradient (lanes, p)."""
    weighted = jacobian * weights[:, :, None]
    away, slope = problem.pull(place)
    curvature = np.swapaxes(jacobian, 1, 2) @ weighted + np.eye(place.shape[1]) * (slope**2)[:, None, :]
    return curvature, (weighted * residuals[:, :, None]).sum(axis=1) + slope * away


def _solve(curvature: Floats, gradient: Floats, damping: Floats) -> Floats:
    """Damped step (lanes, p), in parameters scaled by the curvature's diagonal."""
    diagonal = np.diagonal(curvature, axis1=-2, axis2=-1)
    scale = np.sqrt(np.maximum(diagonal, 1e-300))
    scaled = curvature / scale[:, :, None] / scale[:, None, :]
    scaled = scaled + np.eye(scale.shape[1]) * (damping[:, None, None] + 1e-14)
    step = np.linalg.solve(scaled, (gradient / scale)[..., None])[..., 0]
    return np.asarray(step / scale)


def _decrement(curvature: Floats, gradient: Floats) -> Floats:
    """What a full step promises to gain (lanes,)."""
    step = _solve(curvature, gradient, np.zeros(gradient.shape[0]))
    return np.asarray(0.5 * (step * gradient).sum(axis=-1))


def _sound(curvature: Floats) -> Floats:
    diagonal = np.diagonal(curvature, axis1=-2, axis2=-1)
    return curvature + np.eye(curvature.shape[-1]) * (1e-10 * np.maximum(diagonal, 1e-30))[:, None, :]


def covariance(minimum: Minimum, lane: int, *, free: int) -> Floats:
    """Covariance (p, p) of a fit by plain squares: s²(JᵀJ)⁻¹ with s² = Σe²/(n − free); free: parameters fitted."""
    residuals, jacobian = minimum.residuals[lane], minimum.jacobian[lane]
    scale = np.sqrt((jacobian**2).sum(axis=0))
    inverse = np.linalg.inv((jacobian / scale).T @ (jacobian / scale)) / np.outer(scale, scale)
    return np.asarray(inverse * float((residuals**2).sum()) / (residuals.size - free))


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

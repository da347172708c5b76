"""Minimise damped least squares (Levenberg and Marquardt) from many starts; compute profile likelihoods.

Residuals e(z) come from a function of (starts, parameters) arrays, so that all starts, and all steps of a difference
quotient, are one call. The objective is loss(e) + ½ Σ p(z)², p the standardised distance of a parameter from its prior
mean; a loss returns its value and the weights of the equivalent weighted least squares. An argument `place` holds
parameters z.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

Residuals = Callable[[Floats], Floats]
"""From parameters (starts, p) to residuals (starts, n)."""


Prior = Callable[[Floats], tuple[Floats, Floats]]
"""From parameters (starts, p) to their distance from the prior mean in its standard deviations, and its derivative,
both (starts, p)."""


def free(place: Floats) -> tuple[Floats, Floats]:
    """Return zeros, the prior of parameters that have none."""
    return np.zeros_like(place), np.zeros_like(place)


class ResidualLoss(Protocol):
    """Loss of residuals: a value, and the weights of the equivalent weighted least squares."""

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return values (starts,) and weights (starts, n), d value / d e = weights × e, of residuals (starts, n)."""
        ...

    def value(self, residuals: Floats) -> Floats:
        """Return the values (starts,) alone."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastSquares:
    """A least-squares problem.

    residuals, loss, prior: functions, as in the types above
    step: steps of the difference quotients, in the parameters' units, (p,)
    central: use central differences
    """

    residuals: Residuals
    loss: ResidualLoss
    step: Floats
    prior: Prior = free
    central: bool = False

    def value(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the objective (starts,), residuals and weights (starts, n) at `place` (starts, p)."""
        residuals, bad = self._residuals(place)
        loss, weights = self.loss(residuals)
        return self._total(place, loss, bad), residuals, weights

    def objective(self, place: Floats) -> Floats:
        """Return the objective without the weights, (starts,)."""
        residuals, bad = self._residuals(place)
        return self._total(place, self.loss.value(residuals), bad)

    def _residuals(self, place: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        """Return residuals (starts, n), finite ones, and which starts had others, (starts,)."""
        residuals = self.residuals(place)
        bad = np.asarray(~np.isfinite(residuals).all(axis=-1))
        return np.where(bad[:, None], 1e3, residuals), bad

    def _total(self, place: Floats, loss: Floats, bad: NDArray[np.bool_]) -> Floats:
        return np.where(bad, np.inf, loss + 0.5 * (self.prior(place)[0] ** 2).sum(axis=-1))

    def jacobian(self, place: Floats, residuals: Floats, step: Floats) -> Floats:
        """Return de/dz (starts, n, p) at `place` (starts, p) from differences over `step` (starts, p)."""
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
    """Minimum from each start.

    place: parameters, (starts, p)
    objective: (starts,)
    residuals, weights: (starts, n)
    jacobian: de/dz, (starts, n, p)
    curvature: JᵀWJ plus the curvature of the prior, (starts, p, p)
    converged: (starts,)
    """

    place: Floats
    objective: Floats
    residuals: Floats
    weights: Floats
    jacobian: Floats
    curvature: Floats
    converged: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

    @property
    def best(self) -> int:
        """Return the start with the least objective."""
        return int(np.argmin(self.objective))


DAMPINGS = np.array([0.1, 1.0, 10.0])
"""Factors on the damping that are tried in each iteration [-]."""
LEAST_DAMPING = 1e-12
"""Least damping, over the diagonal of the curvature [-]."""
GREATEST_DAMPING = 1e12
"""Greatest damping [-]; a start that cannot improve there ends."""


def minimise(
    problem: LeastSquares,
    start: Floats,
    *,
    iterations: int = 30,
    tolerance: float = 1e-4,
    adapt: bool = False,
    damping: float = 1e-2,
) -> Minimum:
    """Return the minimum from each of `start` (starts, p).

    Parameters
    ----------
    problem : LeastSquares
    start : ndarray, shape (starts, p)
    iterations : int
    tolerance : float
        A start has converged when the predicted decrease of the objective is smaller.
    adapt : bool
        Take differences over 0.3 of each parameter's standard uncertainty, for residuals with numerical noise.
    damping : float
        The first damping, over the diagonal of the curvature [-].
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
            spread = np.sqrt(np.diagonal(np.linalg.inv(_regular(curvature)), axis1=-2, axis2=-1))
            step[live] = np.clip(0.3 * spread, 0.1 * problem.step, problem.step)
        stuck = ~better & (damp[live] >= GREATEST_DAMPING)
        # With numerical noise in the residuals, perhaps no step reaches the predicted decrease.
        near = np.abs(fall) < (10 * tolerance if adapt else 0.0)
        done[live[stuck | near]] = True
    jacobian = problem.jacobian(place, residuals, step)
    curvature, _ = normal_equations(problem, place, residuals, weights, jacobian)
    return Minimum(
        place=place, objective=objective, residuals=residuals, weights=weights, jacobian=jacobian,
        curvature=curvature, converged=done,
    )  # fmt: skip


def normal_equations(
    problem: LeastSquares, place: Floats, residuals: Floats, weights: Floats, jacobian: Floats
) -> tuple[Floats, Floats]:
    """Return curvature (starts, p, p) and gradient (starts, p) of the objective, by Gauss and Newton."""
    weighted = jacobian * weights[:, :, None]
    away, slope = problem.prior(place)
    curvature = np.swapaxes(jacobian, 1, 2) @ weighted + np.eye(place.shape[1]) * (slope**2)[:, None, :]
    return curvature, (weighted * residuals[:, :, None]).sum(axis=1) + slope * away


def _solve(curvature: Floats, gradient: Floats, damping: Floats) -> Floats:
    """Return the damped step (starts, p), with parameters scaled by the diagonal of the curvature."""
    diagonal = np.diagonal(curvature, axis1=-2, axis2=-1)
    scale = np.sqrt(np.maximum(diagonal, 1e-300))
    scaled = curvature / scale[:, :, None] / scale[:, None, :]
    scaled = scaled + np.eye(scale.shape[1]) * (damping[:, None, None] + 1e-14)
    step = np.linalg.solve(scaled, (gradient / scale)[..., None])[..., 0]
    return np.asarray(step / scale)


def _decrement(curvature: Floats, gradient: Floats) -> Floats:
    """Return the decrease of the objective that the quadratic model predicts for an undamped step, (starts,)."""
    step = _solve(curvature, gradient, np.zeros(gradient.shape[0]))
    return np.asarray(0.5 * (step * gradient).sum(axis=-1))


def _regular(curvature: Floats) -> Floats:
    diagonal = np.diagonal(curvature, axis1=-2, axis2=-1)
    return curvature + np.eye(curvature.shape[-1]) * (1e-10 * np.maximum(diagonal, 1e-30))[:, None, :]


PROFILE_RISE = 1.920729410347062
"""Rise of the objective at the ends of a 95 % interval: half that quantile of chi squared with one degree of freedom
[-]."""

PROFILE_STEPS = np.array([-3.0, -2.0, -1.2, 1.2, 2.0, 3.0])
"""Points of a profile, in standard uncertainties from the minimum [-]; the ends of an interval are near ±2."""
PROFILE_ITERATIONS = 4
"""Gauss–Newton steps that refit the other parameters at each point."""


def profiles(
    problem: LeastSquares,
    best: Floats,
    objective: float,
    jacobian: Floats,
    curvature: Floats,
    *,
    steps: Floats = PROFILE_STEPS,
) -> list[tuple[float, float]]:
    """Return the 95 % interval of every parameter by its profile likelihood.

    An end is ±inf where the objective does not rise enough within the points. All parameters and steps are one batch.
    The other parameters are refitted with the Jacobian of the minimum.

    Parameters
    ----------
    problem : LeastSquares
    best : ndarray, shape (p,)
        Parameters at the minimum.
    objective : float
        The objective there.
    jacobian : ndarray, shape (n, p)
    curvature : ndarray, shape (p, p)
    steps : ndarray, shape (steps,)
        Points of the profile, in standard uncertainties from the minimum [-].
    """
    size = best.size
    spread = np.linalg.inv(curvature)
    held = np.repeat(np.arange(size), steps.size)
    move = np.tile(steps, size)
    lanes = np.arange(held.size)
    along = spread[held] / np.sqrt(spread[held, held])[:, None]
    place = best + along * move[:, None]
    least = np.full(held.size, np.inf)
    for _ in range(PROFILE_ITERATIONS):
        values, residuals, weights = problem.value(place)
        least = np.minimum(least, values)
        everywhere = np.broadcast_to(jacobian, (held.size, *jacobian.shape))
        inner, slope = normal_equations(problem, place, residuals, weights, everywhere)
        # Row and column of the fixed parameter become the identity.
        inner[lanes, held, :] = 0.0
        inner[lanes, :, held] = 0.0
        inner[lanes, held, held] = 1.0
        slope[lanes, held] = 0.0
        place = place - np.linalg.solve(inner + 1e-9 * np.eye(size), slope[..., None])[..., 0]
    least = np.minimum(least, problem.value(place)[0])
    rises = (least - objective).reshape(size, steps.size)
    places = best[:, None] + np.sqrt(np.diagonal(spread))[:, None] * steps
    return [_crossings(best[k], places[k], rises[k]) for k in range(size)]


def _crossings(best: float, place: Floats, rise: Floats) -> tuple[float, float]:
    """Return where the signed root of the rise crosses ±√PROFILE_RISE, by linear interpolation."""
    root = np.sign(place - best) * np.sqrt(np.maximum(rise, 0.0))
    middle = np.searchsorted(place, best)
    where, height = np.insert(place, middle, best), np.maximum.accumulate(np.insert(root, middle, 0.0))
    target = np.sqrt(PROFILE_RISE)
    low = np.interp(-target, height, where, left=-np.inf)
    high = np.interp(target, height, where, right=np.inf)
    return float(low), float(high)

"""Draw all parameters from their posterior, and summarise each of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from stager.fit.optimiser import BestFit
from stager.fit.priors import Prior, bend, values
from stager.fit.records import Parameter, Posterior
from stager.fit.statistics.importance_sampling import ENOUGH, interval, moments, quantile, sample
from stager.fit.statistics.least_squares import Profile, profiles
from stager.model.arrays import Floats, Number

PRIOR_DRAWS = 400
"""Draws where the throws depend on no parameter."""


def posterior(found: BestFit, rng: np.random.Generator, *, enough: float = ENOUGH) -> tuple[Posterior, Floats]:
    """Return posterior draws by importance sampling, and their z, (draws, p).

    Parameters that the throws do not depend on are drawn from their priors.

    Parameters
    ----------
    found : BestFit
    rng : Generator
    enough : float
        Effective sample size at which sampling ends.

    Returns
    -------
    posterior : Posterior
    z : ndarray, shape (draws, p)
        Standardised parameters, in the order of `found.priors`.
    """
    if found.priors:
        turn = bend(found.priors)

        def log_density(y: Floats) -> Floats:
            return np.asarray(np.log(turn(y)[1]).sum(axis=-1) - found.problem.objective(y))

        drawn = sample(log_density, found.modes(), rng, enough=enough)
        place, weights = turn(drawn.place)[0], drawn.weights
        tail, effective, trusted = drawn.tail, drawn.effective, drawn.trusted
    else:
        place, weights = np.zeros((PRIOR_DRAWS, 0)), np.full(PRIOR_DRAWS, 1 / PRIOR_DRAWS)
        tail, effective, trusted = -np.inf, float(PRIOR_DRAWS), True
    idle = rng.normal(size=(weights.size, len(found.idle)))
    known = {**values(found.priors, place), **values(found.idle, idle)}
    return Posterior(values=known, weights=weights, tail=tail, effective=effective, trusted=trusted), place


LEAST_TOLD = 0.4
"""Share of a prior's uncertainty that the data must remove for a parameter to count as identified [-]."""

NORMAL_95 = 1.959963984540054
"""97.5 % quantile of a standard normal variable [-]."""
PRIOR_POINTS = 4001
"""Points that represent a prior, for its median and standard deviation."""


def parameters(found: BestFit, posterior: Posterior) -> tuple[Parameter, ...]:
    """Return a summary of every uncertain parameter, then of the groups."""
    profile = _profiles(found)
    out = [_parameter(prior, posterior, found.normal[k], profile[k]) for k, prior in enumerate(found.priors)]
    out += [_parameter(prior, posterior, 0.0, None) for prior in found.idle]
    return (*out, *_groups(found, posterior))


def _profiles(found: BestFit) -> list[Profile]:
    """Return the profile likelihood of each parameter that the throws depend on."""
    if not found.priors:
        return []
    best = found.minimum.best
    objective, slopes = float(found.minimum.objective[best]), found.minimum.jacobian[best]
    return profiles(found.problem, found.place, objective, slopes, found.curvature)


def _parameter(prior: Prior, posterior: Posterior, best: float, profile: Profile | None) -> Parameter:
    """Return the summary of one parameter, `best` its z at the best fit.

    What the data removed of its uncertainty is by the profile likelihood, which does not depend on a random seed.
    """
    draws, weights = posterior.values[prior.key], posterior.weights
    middle, before = _before(prior)
    told, ends = 0.0, None
    if profile is not None:
        low, high = (float(bend((prior,))(np.array([end]))[0][0]) for end in profile.interval)
        ends = (float(prior.value(np.array(low))), float(prior.value(np.array(high))))
        told = 1 - (high - low) / (2 * NORMAL_95)
    return Parameter(
        key=prior.key, unit="", value=inside(float(prior.value(np.array(best))), draws, weights),
        standard_uncertainty=float(np.sqrt(moments(draws[:, None], weights)[1][0, 0])),
        interval=interval(draws, weights), prior_value=middle, prior_uncertainty=before, profile=ends,
        identified=posterior.trusted and told >= LEAST_TOLD, told=min(max(told, 0.0), 1.0),
    )  # fmt: skip


def inside(value: float, draws: Floats, weights: Floats) -> float:
    """Return `value` where it lies within the 95 % interval of weighted draws (n,), else their median."""
    low, high = interval(draws, weights)
    return value if low <= value <= high else float(quantile(draws, weights, np.array([0.5]))[0])


def _before(prior: Prior) -> tuple[float, float]:
    """Return median and standard deviation of a prior, in SI."""
    from scipy.special import ndtri

    grid = np.asarray(prior.value(ndtri((np.arange(PRIOR_POINTS) + 0.5) / PRIOR_POINTS)))
    return float(np.median(grid)), float(grid.std())


def _groups(found: BestFit, posterior: Posterior) -> list[Parameter]:
    """Return the summary of a group: traction = stiffness × friction at small slip / mass.

    The throws often determine it, and none of the three.
    """
    scenario, level = found.model.scenario, found.law.level
    keys = [key for key in ("contact.stiffness", level, "projectile.mass") if key in posterior.values]
    if not level or not keys:
        return []

    def traction(known: Mapping[str, Number]) -> Floats:
        stiffness, friction, mass = (
            known.get(key, scenario.values.get(key, np.nan)) for key in ("contact.stiffness", level, "projectile.mass")
        )
        return np.log(np.asarray(stiffness * friction / mass, dtype=np.float64))

    priors = (*found.priors, *found.idle)
    best = np.concatenate([found.normal, np.zeros(len(found.idle))])
    before = traction(values(priors, np.random.default_rng(0).normal(size=(PRIOR_POINTS, len(priors)))))
    after = traction(posterior.values)
    mean, spread = moments(after[:, None], posterior.weights)
    told = 1 - _spread(found, traction) / float(before.std())
    low, high = interval(np.exp(after), posterior.weights)
    exponent = float(np.asarray(scenario.launcher.contact.exponent))
    return [
        Parameter(
            key="traction", unit="N/m/kg" if exponent == 1 else f"N/m^{exponent:g}/kg",
            value=inside(float(np.exp(traction(values(priors, best)))), np.exp(after), posterior.weights),
            standard_uncertainty=float(np.exp(mean[0]) * np.sqrt(spread[0, 0])), interval=(low, high),
            prior_value=float(np.exp(np.median(before))),
            prior_uncertainty=float(np.exp(np.median(before)) * before.std()), profile=None,
            identified=posterior.trusted and told >= LEAST_TOLD, told=min(max(told, 0.0), 1.0), group=True,
        )
    ]  # fmt: skip


def _spread(found: BestFit, group: Callable[[Mapping[str, Number]], Floats]) -> float:
    """Return the standard deviation of a group's logarithm [-] by the curvature at the best fit (delta method)."""
    turn = bend(found.priors)
    step = 1e-3
    moves = found.place + step * np.concatenate([np.eye(found.place.size), -np.eye(found.place.size)])
    active = 0.0
    if found.priors:
        ends = group(values(found.priors, turn(moves)[0]))
        slope = (ends[: found.place.size] - ends[found.place.size :]) / (2 * step)
        active = float(slope @ np.linalg.inv(found.curvature) @ slope)
    # Parameters that the throws do not depend on keep the uncertainty of their priors.
    fixed = {key: float(value) for key, value in found.values.items()}
    ends_of = [(prior.key, prior.value(np.array(1.0)), prior.value(np.array(-1.0))) for prior in found.idle]
    idle = [float(group({**fixed, key: up}) - group({**fixed, key: down})) / 2 for key, up, down in ends_of]
    return float(np.sqrt(active + np.sum(np.square(idle))))

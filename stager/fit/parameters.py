"""Parameters after the data beside what was known before."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from stager.fit.optimiser import BestFit
from stager.fit.priors import Prior, bend, values
from stager.fit.records import Parameter, Posterior
from stager.fit.statistics.coverage import interval, moments
from stager.fit.statistics.profile import Profile, profiles
from stager.model.arrays import Floats, Number

TOLD = 0.4
"""Share of a prior's uncertainty that must be gone for a parameter to count as identified."""

GRID = 4001


def parameters(found: BestFit, posterior: Posterior, place: Floats, rng: np.random.Generator) -> tuple[Parameter, ...]:
    """Every parameter with an uncertainty, then the groups. place: z of the draws (draws, p)."""
    profile = _profiles(found)
    out = [
        _parameter(prior, posterior, place[:, k], found.normal[k], profile[k]) for k, prior in enumerate(found.priors)
    ]
    out += [_parameter(prior, posterior, None, 0.0, None) for prior in found.idle]
    return (*out, *_groups(found, posterior, rng))


def _profiles(found: BestFit) -> list[Profile]:
    if not found.priors:
        return []
    best = found.minimum.best
    objective, slopes = float(found.minimum.objective[best]), found.minimum.jacobian[best]
    return profiles(found.problem, found.place, objective, slopes, found.curvature)


def _parameter(prior: Prior, posterior: Posterior, z: Floats | None, best: float, profile: Profile | None) -> Parameter:
    draws, weights = posterior.values[prior.key], posterior.weights
    middle, before = _before(prior)
    told = 0.0 if z is None else 1 - float(np.sqrt(moments(z[:, None], weights)[1][0, 0]))
    ends = None
    if profile is not None:
        low, high = (float(bend((prior,))(np.array([end]))[0][0]) for end in profile.interval)
        ends = (float(prior.value(np.array(low))), float(prior.value(np.array(high))))
    return Parameter(
        key=prior.key, unit="", value=float(prior.value(np.array(best))),
        standard_uncertainty=float(np.sqrt(moments(draws[:, None], weights)[1][0, 0])),
        interval=interval(draws, weights), prior_value=middle, prior_uncertainty=before, profile=ends,
        identified=posterior.trusted and told >= TOLD, told=max(told, 0.0),
    )  # fmt: skip


def _before(prior: Prior) -> tuple[float, float]:
    """Median and standard deviation of a prior, in SI."""
    from scipy.special import ndtri

    grid = np.asarray(prior.value(ndtri((np.arange(GRID) + 0.5) / GRID)))
    return float(np.median(grid)), float(grid.std())


def _groups(found: BestFit, posterior: Posterior, rng: np.random.Generator) -> list[Parameter]:
    """What shows only together: traction = stiffness × friction at small slip / mass."""
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
    before = traction(values(priors, rng.normal(size=(GRID, len(priors)))))
    after = traction(posterior.values)
    mean, spread = moments(after[:, None], posterior.weights)
    told = 1 - float(np.sqrt(spread[0, 0])) / float(before.std())
    low, high = interval(np.exp(after), posterior.weights)
    exponent = float(np.asarray(scenario.launcher.contact.exponent))
    return [
        Parameter(
            key="traction", unit="N/m/kg" if exponent == 1 else f"N/m^{exponent:g}/kg",
            value=float(np.exp(traction(values(priors, best)))),
            standard_uncertainty=float(np.exp(mean[0]) * np.sqrt(spread[0, 0])), interval=(low, high),
            prior_value=float(np.exp(np.median(before))),
            prior_uncertainty=float(np.exp(np.median(before)) * before.std()), profile=None,
            identified=posterior.trusted and told >= TOLD, told=max(told, 0.0), group=True,
        )
    ]  # fmt: skip

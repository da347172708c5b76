"""The records that a fit consists of; draw all parameters from their posterior, and summarise each of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.explanations import Hypothesis
from stager.fit.optimiser import BestFit
from stager.fit.priors import DRIFT, CandidateLaw, Prior, bend, values
from stager.fit.statistics.importance_sampling import ENOUGH, interval, moments, quantile, sample
from stager.fit.statistics.least_squares import profiles
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Weighted draws from the posterior.

    values: SI values by key, each (draws,)
    weights: importance weights that sum to 1, (draws,)
    tail: Pareto shape k of the importance weights [-]
    effective: effective sample size
    trusted: whether the importance sampling is reliable
    """

    values: Mapping[str, Floats]
    weights: Floats
    tail: float
    effective: float
    trusted: bool

    def even(self, rng: np.random.Generator, count: int) -> dict[str, Floats]:
        """Return `count` draws of equal weight by key, (count,) each, by systematic resampling; without the drift."""
        heights = np.cumsum(self.weights)
        rows = np.searchsorted(heights, (rng.random() + np.arange(count)) / count).clip(max=self.weights.size - 1)
        rng.shuffle(rows)
        return {key: values[rows] for key, values in self.values.items() if key != DRIFT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One parameter, or a group of parameters that only their combination determines, in SI.

    key: dotted place in the configuration, or name of the group
    unit: of a group; empty for a parameter
    value: at the best fit
    standard_uncertainty: standard deviation of the posterior
    interval: 95 % interval of the posterior
    prior_value, prior_uncertainty: median and standard deviation of the prior
    profile: 95 % interval by profile likelihood; None for groups and where the throws do not depend on the parameter;
        an end may be infinite
    identified: whether the data determine it
    told: share of the prior's uncertainty that the data have removed [-]
    group: whether it is a group
    """

    key: str
    unit: str
    value: float
    standard_uncertainty: float
    interval: tuple[float, float]
    prior_value: float
    prior_uncertainty: float
    profile: tuple[float, float] | None
    identified: bool
    told: float
    group: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A throw that is almost certainly an outlier.

    line: of the table
    order: number of the throw
    exit_speed, fitted: measured and fitted exit speed [m/s]
    probability: of being an outlier [-]
    """

    line: int
    order: float
    exit_speed: float
    fitted: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """Repeatability from throws at equal settings.

    deviation: relative standard deviation of one throw [-]
    freedom: its degrees of freedom
    lack_of_fit: p value of the lack-of-fit F test [-]; None with too few repeats
    """

    deviation: float
    freedom: int
    lack_of_fit: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """One finding against the model.

    kind: "speed", "band", "order", "kinds", "prior", "build", "scatter", "fast" or "jams"
    words: a sentence without its full stop
    probability: p value, adjusted for the number of tests [-]; 0 for a contradiction, which is not a test
    """

    kind: str
    words: str
    probability: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Throws with more stages, predicted from the throws with fewer stages alone.

    stages: of the predicted throws
    measured: exit speeds, (n,) [m/s]
    predicted: medians of the predictions, (n,) [m/s]
    low, high: ends of the 95 % prediction interval of a single throw, (n,) [m/s]
    """

    stages: int
    measured: Floats
    predicted: Floats
    low: Floats
    high: Floats

    @property
    def inside(self) -> int:
        """Number of throws within their prediction interval."""
        return int(((self.measured >= self.low) & (self.measured <= self.high)).sum())

    @property
    def error(self) -> float:
        """Median relative error, measured over predicted less 1 [-]."""
        return float(np.median(self.measured / self.predicted) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Result of a fit. Where friction drifts, the launcher is that of the session's end.

    scenario, throws: as given
    used: rows of `throws` that were fitted, (n,)
    law: name of the chosen friction law
    aicc: AICc of each law, by name
    found: best fit of the chosen law
    weights: weights of the laws that predictions average, by name, the chosen one first
    posteriors: law and posterior of each of these, by name
    parameters: every uncertain parameter, then the groups
    scatter: relative standard deviation of one throw [-]
    repeats: repeatability; None without repeated settings
    outliers: throws that are almost certainly outliers
    sentences: what the data cannot determine, in words
    checks: predictions of throws with more stages
    drift: change of ln friction over the session; None where it was not fitted
    misfits: findings against the model; none where it is adequate
    causes: single changes to the model with which it would fit, best first
    """

    scenario: Scenario
    throws: Throws
    used: NDArray[np.intp]
    law: str
    aicc: Mapping[str, float]
    found: BestFit
    weights: Mapping[str, float]
    posteriors: Mapping[str, tuple[CandidateLaw, Posterior]]
    parameters: tuple[Parameter, ...]
    scatter: float
    repeats: Repeats | None
    outliers: tuple[Outlier, ...]
    sentences: tuple[str, ...]
    checks: tuple[Check, ...] = ()
    drift: Parameter | None = None
    misfits: tuple[Misfit, ...] = ()
    causes: tuple[Hypothesis, ...] = ()

    @property
    def adequate(self) -> bool:
        """Whether nothing speaks against the model."""
        return not self.misfits

    @property
    def posterior(self) -> Posterior:
        """Posterior with the chosen law."""
        return self.posteriors[self.law][1]

    @property
    def best(self) -> dict[str, float]:
        """SI values at the best fit of all uncertain parameters, by key."""
        known = {key: float(value) for key, value in self.found.values.items()}
        return {one.key: known.get(one.key, one.value) for one in self.parameters if not one.group}

    @property
    def launcher(self) -> Launcher:
        """The launcher at the best fit."""
        return self.posteriors[self.law][0].launcher(self.scenario, self.best)

    @property
    def built(self) -> int:
        """Greatest stage count of the fitted throws."""
        return int(self.throws.chosen(self.used).present.sum(axis=1).max())

    @property
    def keeps_law(self) -> bool:
        """Whether the law is the configuration's own."""
        return self.law == self.scenario.launcher.contact.friction.name


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


def _profiles(found: BestFit) -> list[tuple[float, float]]:
    """Return the interval by profile likelihood of each parameter that the throws depend on."""
    if not found.priors:
        return []
    best = found.minimum.best
    objective, slopes = float(found.minimum.objective[best]), found.minimum.jacobian[best]
    return profiles(found.problem, found.place, objective, slopes, found.curvature)


def _parameter(prior: Prior, posterior: Posterior, best: float, profile: tuple[float, float] | None) -> Parameter:
    """Return the summary of one parameter, `best` its z at the best fit.

    What the data removed of its uncertainty is by the profile likelihood, which does not depend on a random seed.
    """
    draws, weights = posterior.values[prior.key], posterior.weights
    middle, before = _before(prior)
    told, ends = 0.0, None
    if profile is not None:
        low, high = (float(bend((prior,))(np.array([end]))[0][0]) for end in profile)
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
    drawn = values(priors, np.random.default_rng(0).normal(size=(PRIOR_POINTS, len(priors))))
    before = traction(drawn)
    after = traction(posterior.values)
    mean, spread = moments(after[:, None], posterior.weights)
    told = 1 - _spread(found, traction, drawn) / float(before.std())
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


def _spread(
    found: BestFit, group: Callable[[Mapping[str, Number]], Floats], drawn: Mapping[str, Floats]
) -> float:  # fmt: skip
    """Return the standard deviation of a group's logarithm [-] by the curvature at the best fit (delta method).

    Parameters that the throws do not depend on keep the uncertainty of their priors, whose draws are in `drawn`.
    """
    turn = bend(found.priors)
    step = 1e-3
    moves = found.place + step * np.concatenate([np.eye(found.place.size), -np.eye(found.place.size)])
    active, middle = 0.0, values(found.idle, np.zeros(len(found.idle)))
    if found.priors:
        # The group may hold none of the parameters that the throws depend on.
        ends = np.broadcast_to(group(middle | values(found.priors, turn(moves)[0])), (len(moves),))
        slope = (ends[: found.place.size] - ends[found.place.size :]) / (2 * step)
        active = float(slope @ np.linalg.inv(found.curvature) @ slope)
    fixed = {key: float(value) for key, value in found.values.items()}
    idle = float(group(fixed | {prior.key: drawn[prior.key] for prior in found.idle}).std())
    return float(np.sqrt(active + idle**2))

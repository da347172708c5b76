"""Define the records that a fit consists of: posterior, parameters, outliers, misfits, checks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.explanations import Hypothesis
from stager.fit.friction_laws import DRIFT, Law
from stager.fit.optimiser import BestFit
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats
from stager.model.launcher import Scenario


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

    kind: "speed", "order", "kinds", "prior", "build", "scatter" or "fast"
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
    posteriors: Mapping[str, tuple[Law, Posterior]]
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
    def built(self) -> int:
        """Greatest stage count of the fitted throws."""
        return int(self.throws.chosen(self.used).present.sum(axis=1).max())

    @property
    def keeps_law(self) -> bool:
        """Whether the law is the configuration's own."""
        return self.law == self.scenario.launcher.contact.friction.name

"""What a fit is."""

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
from stager.model.scenario import Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Draws after the data: SI values by key, each (draws,), with weights (draws,) that add to 1.

    tail, effective, trusted: Pareto shape of the importance weights, draws of equal weight that would tell as much,
    and whether to rely on them.
    """

    values: Mapping[str, Floats]
    weights: Floats
    tail: float
    effective: float
    trusted: bool

    def even(self, rng: np.random.Generator, count: int) -> dict[str, Floats]:
        """Draws of the launcher of equal weight, (count,), by systematic resampling."""
        heights = np.cumsum(self.weights)
        rows = np.searchsorted(heights, (rng.random() + np.arange(count)) / count).clip(max=self.weights.size - 1)
        rng.shuffle(rows)
        return {key: values[rows] for key, values in self.values.items() if key != DRIFT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One parameter, or a group of them that shows only together, in SI.

    value at the best fit; standard uncertainty and 95 % interval from the draws; prior_value, prior_uncertainty
    before the data; profile: 95 % interval by profile likelihood (None for groups; an end may be infinite);
    identified: the data have told it; told: share of its prior uncertainty that is gone [-].
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
    """A throw that is probably wild: its line and number, measured and fitted speed [m/s], probability [-]."""

    line: int
    order: float
    exit_speed: float
    fitted: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """Repeatability from throws at equal settings: relative standard deviation [-] with degrees of freedom;
    lack_of_fit: p value of the fit's residuals against it (None: too few repeats)."""

    deviation: float
    freedom: int
    lack_of_fit: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """One thing that does not fit: kind; words, a sentence without its full stop; probability: p value, adjusted for
    the number of tests (0 where it is a contradiction rather than a test)."""

    kind: str
    words: str
    probability: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Throws with more stages than those fitted, predicted from the others alone.

    stages; measured, predicted [m/s] of each, (n,); low, high of the 95 % interval of a single throw [m/s]."""

    stages: int
    measured: Floats
    predicted: Floats
    low: Floats
    high: Floats

    @property
    def inside(self) -> int:
        """How many throws fell into their interval."""
        return int(((self.measured >= self.low) & (self.measured <= self.high)).sum())

    @property
    def error(self) -> float:
        """Median of measured over predicted, less 1 [-]."""
        return float(np.median(self.measured / self.predicted) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What the throws have told.

    law: the one chosen, `aicc` of each by name; weights: of each law that is averaged in predictions, the chosen one
    first; posteriors: of each of these, with the law; posterior: of the chosen one; parameters; scatter: relative
    standard deviation of one throw [-]; used: rows of `throws` that were fitted; sentences: what the data cannot tell,
    in words; drift: change of ln friction over the session, None where the order of throws is not known; the launcher
    is that of the session's end; misfits: what speaks against the fit, none where it is adequate; causes: single
    changes that would make it fit, best first.
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
        """Whether the model describes the throws."""
        return not self.misfits

    @property
    def posterior(self) -> Posterior:
        """Draws with the chosen law."""
        return self.posteriors[self.law][1]

    @property
    def best(self) -> dict[str, float]:
        """SI values at the best fit, by key, of all parameters that carry an uncertainty."""
        known = {key: float(value) for key, value in self.found.values.items()}
        return {one.key: known.get(one.key, one.value) for one in self.parameters if not one.group}

    @property
    def built(self) -> int:
        """Stages that the fitted throws had at most."""
        return int(self.throws.chosen(self.used).present.sum(axis=1).max())

    @property
    def keeps_law(self) -> bool:
        """Whether the law is the configuration's own."""
        return self.law == self.scenario.launcher.contact.friction.name

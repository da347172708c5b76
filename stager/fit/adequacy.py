"""Whether the model fits the throws: repeatability, and predictions of later stages."""

from __future__ import annotations

import numpy as np

from stager.fit.forward_model import forward_model
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.posterior import posterior
from stager.fit.records import Check, Repeats
from stager.fit.statistics.coverage import quantile
from stager.fit.table.record import Throws
from stager.model.arrays import Floats
from stager.model.scenario import Scenario

ENOUGH_REPEATS = 4
"""Degrees of freedom of repeats that a test against them needs."""

ENOUGH_EARLIER = 6
"""Throws with fewer stages that a prediction of later ones needs."""

DRAWS = 200


def repeats(throws: Throws, found: BestFit) -> Repeats | None:
    """Relative standard deviation of throws at one setting; None without repeats. Likely outliers are left out here.

    lack_of_fit: F test of what the fit leaves between settings against it.
    """
    good = found.outlier_probability < 0.5
    logs, setting, left = np.log(throws.exit_speed[good]), throws.settings[good], found.residuals[good]
    within, freedom = _within(logs, setting)
    if freedom < 1:
        return None
    deviation = float(np.sqrt(within / freedom))
    settings = np.unique(setting).size
    between = float((left**2).sum()) - _within(left, setting)[0]
    spare = settings - found.spent
    if freedom < ENOUGH_REPEATS or spare < 1 or deviation == 0:
        return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=None)
    from scipy.special import fdtrc

    ratio = between / spare / deviation**2
    return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=float(fdtrc(spare, freedom, max(ratio, 0.0))))


def _within(values: Floats, setting: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> tuple[float, int]:
    """Sum of squares about the settings' means, and its degrees of freedom."""
    names, which, counts = np.unique(setting, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=values, minlength=names.size) / counts
    return float(((values - means[which]) ** 2).sum()), int(values.size - names.size)


def checks(scenario: Scenario, throws: Throws, found: BestFit, rng: np.random.Generator) -> tuple[Check, ...]:
    """For each stage count behind the first: its throws predicted from all with fewer stages."""
    count = throws.present.sum(axis=1)
    return tuple(
        _check(scenario, throws.chosen(count < stages), throws.chosen(count == stages), found, int(stages), rng)
        for stages in np.unique(count)
        if (count < stages).sum() >= ENOUGH_EARLIER
    )


def _check(
    scenario: Scenario, before: Throws, after: Throws, found: BestFit, stages: int, rng: np.random.Generator
) -> Check:
    earlier = best_fit(scenario, found.law, before, found.noise, rng)
    drawn, _ = posterior(earlier, rng)
    draws = drawn.even(rng, DRAWS)
    speeds = forward_model(scenario, found.law, after).exit_speed(draws)
    single = speeds * np.exp(earlier.scatter * rng.normal(size=speeds.shape))
    shares = np.array([0.025, 0.5, 0.975])
    low, _, high = quantile(single, np.full(DRAWS, 1 / DRAWS), shares)
    middle = quantile(speeds, np.full(DRAWS, 1 / DRAWS), shares)[1]
    return Check(stages=stages, measured=after.exit_speed, predicted=middle, low=low, high=high)

"""Test whether exit speed changes in the course of a session, or between builds, beyond what the settings explain.

The column under test (the order or time of the throws, or which build each belongs to) is a regressor of ln exit speed.
Its coefficient is estimated beside covariates: a mean for each setting where settings were repeated, else the
directions in which the fitted model and its likely errors can move the exit speeds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.friction_laws import own_law
from stager.fit.likelihood import Noise, noise_of, usable
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.hypothesis_tests import Collinear, Difference, holm, slope
from stager.fit.table.throws import Throws, clock
from stager.model.arrays import Floats
from stager.model.launcher import Scenario

LEVEL = 0.05
"""Significance level of a claimed drift, over all builds together [-]."""
LEAST_FREEDOM = 4.0
"""Degrees of freedom from which repeated settings alone decide; with fewer the model is used [-]."""
LEAST_THROWS = 8
"""Throws of a build that a test of drift needs."""
LEAST_FREE_SHARE = 0.1
"""Share of the order's sum of squares that the settings must leave free [-]; below it, drift and settings cannot be
told apart."""
LEAST_SINGULAR_VALUE = 0.5
"""Singular value of the Jacobian, over the scatter of one throw, from which a direction is a covariate [-]. Along
weaker directions the parameters move all throws together by less than half a scatter."""
OUTLIER_PROBABILITY = 0.95
"""Probability of being an outlier from which a throw is left out of a test without a model [-]."""
LEAST_REPEATED = 6
"""Throws at repeated settings that are needed to call any of them an outlier; with fewer their scatter is unknown."""

CONFOUNDED = "wheel speed and order rise together; shuffle the settings to tell drift from them"


def setting_columns(settings: NDArray[np.intp]) -> Floats:
    """Return an indicator column for each setting, (n, settings), so that each setting has a mean of its own."""
    return np.equal.outer(settings, np.unique(settings)).astype(np.float64)


def model_columns(fitted: BestFit) -> Floats:
    """Return the directions in which the model and its likely errors can move ln exit speed, (n, k).

    These are the tangents of the fit, a constant, and v and v² of each column of wheel speeds.
    """
    return np.column_stack([tangent_columns(fitted), np.ones(fitted.count), *_powers(fitted, 2)])


def tangent_columns(fitted: BestFit) -> Floats:
    """Return the directions in which the parameters have moved ln exit speed, (n, k), orthonormal."""
    u, s, _ = np.linalg.svd(fitted.jacobian, full_matrices=False)
    return np.asarray(u[:, s > LEAST_SINGULAR_VALUE * fitted.scatter])


def bend_columns(fitted: BestFit) -> Floats:
    """Return the patterns that a wrong model would leave in residuals, (n, k): v, v², v³ of each column of speeds."""
    columns = _powers(fitted, 3)
    return np.column_stack(columns) if columns else np.zeros((fitted.count, 0))


def _powers(fitted: BestFit, most: int) -> list[Floats]:
    """Return v, v², … up to power `most` of each column of wheel speeds, (n,) each; v is scaled to 0 to 1.

    An empty cell counts as 0.5, the middle of the scale.
    """
    columns: list[Floats] = []
    for wheels in fitted.model.settings.wheels:
        values = wheels.values[fitted.model.row][: fitted.count]
        known = ~np.isnan(values)
        if known.any() and np.ptp(values[known]) > 0:
            scaled = np.where(known, (values - values[known].min()) / np.ptp(values[known]), 0.5)
            columns += [scaled**power for power in range(1, most + 1)]
    return columns


def downweighted_residuals(fitted: BestFit) -> Floats:
    """Return the residuals of ln exit speed, (n,), each times its probability of not being an outlier [-]."""
    return fitted.residuals * (1 - fitted.outlier_probability)


def inliers(logs: Floats, settings: NDArray[np.intp], noise: Noise) -> NDArray[np.bool_]:
    """Return which throws agree with the others at their setting, (n,).

    Parameters
    ----------
    logs : ndarray, shape (n,)
        ln exit speed.
    settings : ndarray of int, shape (n,)
        Throws of equal settings have equal numbers.
    noise : Noise

    Returns
    -------
    ndarray of bool, shape (n,)
        False from OUTLIER_PROBABILITY on. Of two throws at a setting either both are True or neither is: their
        residuals are equal and opposite. A throw without a repeat is True.
    """
    _, which, counts = np.unique(settings, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=logs) / counts
    shared = counts[which] > 1
    out = np.ones(logs.size, dtype=bool)
    if shared.sum() >= LEAST_REPEATED:
        size = counts[which][shared]
        # Residuals about the mean of k values have (k − 1)/k of the variance of one value.
        scaled = (logs - means[which])[shared] * np.sqrt(size / (size - 1))
        out[shared] = noise.outlier_probability(scaled) < OUTLIER_PROBABILITY
    return out


def effect_within_settings(logs: Floats, column: Floats, settings: NDArray[np.intp]) -> tuple[Difference, float]:
    """Return the coefficient of `column` in ln exit speed beside a mean for each setting, and its free share.

    The arrays have shape (n,). The free share is that of the column's sum of squares that the settings leave [-].

    Raises
    ------
    ValueError
        As `slope` does.
    """
    return slope(logs, column, setting_columns(settings))


def effect_beside_model(fitted: BestFit, column: Floats) -> tuple[Difference, float]:
    """Return the coefficient of `column` (n,) in ln exit speed beside what the model can explain, and its free share.

    Raises
    ------
    ValueError
        As `slope` does.
    """
    return slope(downweighted_residuals(fitted), column, model_columns(fitted))


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Drift of one build from its first throw to its last.

    build: name of the build
    throws: number of its usable throws
    by: "order" or "time", the regressor
    change: change of ln exit speed over the session [-]; None where it cannot be told from the settings
    adjusted: p value, adjusted for the number of builds tested [-]
    reason: why `change` is None
    """

    build: str
    throws: int
    by: str
    change: Difference | None
    adjusted: float
    reason: str = ""

    @property
    def claimed(self) -> bool:
        """Whether a drift is claimed, at the 5 % level over all builds."""
        return self.change is not None and self.adjusted < LEVEL


def drifts(scenario: Scenario, throws: Throws, rng: np.random.Generator) -> tuple[Drift, ...]:
    """Return the drift of each build of `throws`, with p values adjusted by Holm's method."""
    good = throws.chosen(usable(throws))
    tested = [_drift(scenario, good.chosen(good.build == build), build, rng) for build in good.builds]
    known = [k for k, one in enumerate(tested) if one[1] is not None]
    adjusted = dict(zip(known, holm([_p_value(tested[k][1]) for k in known]), strict=True))
    return tuple(
        Drift(build=build, throws=count, by=by, change=change, adjusted=adjusted.get(k, 1.0), reason=reason)
        for k, ((build, count, by, reason), change) in enumerate(tested)
    )


Row = tuple[str, int, str, str]
"""Build, number of throws, regressor and reason, as in `Drift`."""


def _drift(scenario: Scenario, throws: Throws, build: str, rng: np.random.Generator) -> tuple[Row, Difference | None]:
    """Return the drift of one build: from repeated settings where they suffice, else beside the fitted model."""
    count = len(throws)
    by, column = clock(throws)
    if count < LEAST_THROWS or np.ptp(column) == 0:
        return (build, count, by, f"needs at least {LEAST_THROWS} throws in a known order"), None
    column = (column - column.min()) / np.ptp(column)
    within = _within_settings(throws, column)
    if within is not None:
        return (build, count, by, ""), within
    fitted = best_fit(scenario, own_law(scenario), throws, noise_of(throws), rng)
    change, reason = _beside_model(fitted, column)
    return (build, count, by, reason), change


def _within_settings(throws: Throws, column: Floats) -> Difference | None:
    """Return the effect of `column` (n,) from settings thrown early and late; None where they are too few.

    It needs no model. Throws that are almost certainly outliers are left out.
    """
    logs = np.log(throws.exit_speed)
    good = inliers(logs, throws.settings, noise_of(throws))
    try:
        change, free = effect_within_settings(logs[good], column[good], throws.settings[good])
    except ValueError:
        return None
    return change if free >= LEAST_FREE_SHARE and change.freedom >= LEAST_FREEDOM else None


def _beside_model(fitted: BestFit, column: Floats) -> tuple[Difference | None, str]:
    """Return the effect of `column` (n,) beside the model, or None and the reason."""
    try:
        change, free = effect_beside_model(fitted, column)
    except Collinear:
        return None, CONFOUNDED
    except ValueError as error:
        return None, str(error)
    return (change, "") if free >= LEAST_FREE_SHARE else (None, CONFOUNDED)


def _p_value(change: Difference | None) -> float:
    return 1.0 if change is None else change.probability

"""Whether exit speed changes with a column (the order of throws, another build) beyond what the settings do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.friction_laws import own_law
from stager.fit.likelihood import Noise, noise_of, usable
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.hypothesis_tests import Difference, Together, holm, slope
from stager.fit.table.throws import Throws, clock
from stager.model.arrays import Floats
from stager.model.scenario import Scenario

NEGLIGIBLE = 0.5
"""A direction of the parameters that moves all throws together by less than this share of a scatter is left out."""

SURELY = 0.95
LEAST_SHARED = 6
"""Throws that share their setting, below which nothing is called an outlier by its neighbours alone."""


def setting_columns(settings: NDArray[np.intp]) -> Floats:
    """One column of ones a setting, (n, settings): whatever the model says, each setting has its own mean."""
    return np.equal.outer(settings, np.unique(settings)).astype(np.float64)


def model_columns(found: BestFit) -> Floats:
    """Directions in which the fit could still move ln exit speed, and in which the model may be wrong: all throws
    alike, and a bend along each stage's wheel speed; (n, k)."""
    return np.column_stack([tangent_columns(found), np.ones(found.count), *_powers(found, 2)])


def tangent_columns(found: BestFit) -> Floats:
    """Directions in which the fit has moved ln exit speed, (n, k)."""
    u, s, _ = np.linalg.svd(found.jacobian, full_matrices=False)
    return np.asarray(u[:, s > NEGLIGIBLE * found.scatter])


def bend_columns(found: BestFit) -> Floats:
    """Directions in which a wrong model would leave residuals: powers of each column of wheel speeds, (n, k)."""
    columns = _powers(found, 3)
    return np.column_stack(columns) if columns else np.zeros((found.count, 0))


def _powers(found: BestFit, most: int) -> list[Floats]:
    """v, v², … of each column of wheel speeds, v scaled to 0–1 (cells that are empty: 0.5); (n,) each."""
    columns: list[Floats] = []
    where = found.model.settings
    for wheels in where.wheels:
        values = wheels.values[found.model.row][: found.count]
        known = ~np.isnan(values)
        if known.any() and np.ptp(values[known]) > 0:
            scaled = np.where(known, (values - values[known].min()) / np.ptp(values[known]), 0.5)
            columns += [scaled**power for power in range(1, most + 1)]
    return columns


def tame(found: BestFit) -> Floats:
    """Residuals with outliers drawn in to where they weigh no more than their probability allows, (n,)."""
    return found.residuals * (1 - found.outlier_probability)


def steady(logs: Floats, group: NDArray[np.intp], noise: Noise) -> NDArray[np.bool_]:
    """Which of ln exit speeds (n,) are no sure outliers among those of their group (n,); of a pair none or both."""
    _, which, counts = np.unique(group, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=logs) / counts
    shared = counts[which] > 1
    out = np.ones(logs.size, dtype=bool)
    if shared.sum() >= LEAST_SHARED:
        size = counts[which][shared]
        scaled = (logs - means[which])[shared] * np.sqrt(size / (size - 1))
        out[shared] = noise.outlier_probability(scaled) < SURELY
    return out


def by_settings(logs: Floats, column: Floats, settings: NDArray[np.intp]) -> tuple[Difference, float]:
    """Effect of `column` on ln exit speed beside the settings' own means; and the column's share that is left."""
    return slope(logs, column, setting_columns(settings))


def by_model(found: BestFit, column: Floats) -> tuple[Difference, float]:
    """Effect of `column` on ln exit speed beside what the model's parameters could do; and the share that is left."""
    return slope(tame(found), column, model_columns(found))


LEVEL = 0.05
ENOUGH = 4.0
LEAST_THROWS = 8
TELLS = 0.1
"""Share of the order that must be free of the settings; else drift and settings cannot be told apart."""

TOGETHER = "wheel speed and order rise together; shuffle the settings to tell drift from them"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Drift of one build, from its first throw to its last: relative change of exit speed [-].

    by: "order" or "time"; change: None where it cannot be told from the settings, `reason` says why;
    adjusted: p value adjusted for the number of builds looked at.
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
    """Drift of every build of `throws`."""
    good = throws.chosen(usable(throws))
    found = [_drift(scenario, good.chosen(good.build == build), build, rng) for build in good.builds]
    known = [k for k, one in enumerate(found) if one[1] is not None]
    adjusted = dict(zip(known, holm([_p(found[k][1]) for k in known]), strict=True))
    return tuple(
        Drift(build=build, throws=count, by=by, change=change, adjusted=adjusted.get(k, 1.0), reason=reason)
        for k, ((build, count, by, reason), change) in enumerate(found)
    )


Row = tuple[str, int, str, str]


def _drift(scenario: Scenario, throws: Throws, build: str, rng: np.random.Generator) -> tuple[Row, Difference | None]:
    count = len(throws)
    by, column = clock(throws)
    if count < LEAST_THROWS or np.ptp(column) == 0:
        return (build, count, by, f"needs at least {LEAST_THROWS} throws in a known order"), None
    column = (column - column.min()) / np.ptp(column)
    own = _own_settings(throws, column)
    if own is not None:
        return (build, count, by, ""), own
    found = best_fit(scenario, own_law(scenario), throws, noise_of(throws), rng)
    change, reason = _beside_model(found, column)
    return (build, count, by, reason), change


def _own_settings(throws: Throws, column: NDArray[np.float64]) -> Difference | None:
    """From throws at the same setting early and late, which needs no model; sure outliers are left out."""
    logs = np.log(throws.exit_speed)
    good = steady(logs, throws.settings, noise_of(throws))
    try:
        change, left = by_settings(logs[good], column[good], throws.settings[good])
    except ValueError:
        return None
    return change if left >= TELLS and change.freedom >= ENOUGH else None


def _beside_model(found: BestFit, column: NDArray[np.float64]) -> tuple[Difference | None, str]:
    try:
        change, left = by_model(found, column)
    except Together:
        return None, TOGETHER
    except ValueError as error:
        return None, str(error)
    return (change, "") if left >= TELLS else (None, TOGETHER)


def _p(change: Difference | None) -> float:
    return 1.0 if change is None else change.probability

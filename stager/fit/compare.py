"""Decide whether exit speed changes in a session or differs between two builds, by how much, and what explains it.

The column under test (the order or time of the throws, or which build each belongs to) is a regressor of ln exit speed.
Its coefficient is estimated beside covariates: a mean for each setting where settings were repeated, else the
directions in which the fitted model and its likely errors can move the exit speeds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError, InputErrors
from stager.fit.explanations import Hypothesis, explain
from stager.fit.likelihood import Noise, UnevenNoise, noise_of, usable
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.priors import own_law
from stager.fit.statistics.hypothesis_tests import Collinear, Difference, by_settings, holm, paired, slope
from stager.fit.table.throws import Throws, clock, moments
from stager.model.arrays import Floats
from stager.model.launcher import Scenario

DRIFT_LEVEL = 0.05
"""Significance level of a claimed drift, over all builds together [-]."""
LEAST_DRIFT_FREEDOM = 4.0
"""Degrees of freedom from which repeated settings alone decide; with fewer the model is used [-]."""
LEAST_DRIFT_THROWS = 8
"""Throws of a build that a test of drift needs."""
LEAST_FREE_SHARE = 0.1
"""Share of the sum of squares of the column under test that the settings must leave free [-]; below it, drift or build
and settings cannot be told apart."""
LEAST_SINGULAR_VALUE = 0.5
"""Singular value of the Jacobian, over the scatter of one throw, from which a direction is a covariate [-]. Along
weaker directions the parameters move all throws together by less than half a scatter."""
OUTLIER_PROBABILITY = 0.95
"""Probability of being an outlier from which a throw is left out of a test without a model [-]."""
LEAST_REPEATED = 6
"""Throws at repeated settings that are needed to call any of them an outlier; with fewer their scatter is unknown."""

UNKNOWN_ORDER = "the order of the throws is unknown: number them in a column throw, or give their times"
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


def inliers(logs: Floats, settings: NDArray[np.intp], noise: Noise | UnevenNoise) -> NDArray[np.bool_]:
    """Return which throws agree with the others at their setting, (n,).

    Parameters
    ----------
    logs : ndarray, shape (n,)
        ln exit speed.
    settings : ndarray of int, shape (n,)
        Throws of equal settings have equal numbers.
    noise : Noise or UnevenNoise

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
        out[shared] = noise.chosen(shared).outlier_probability(scaled) < OUTLIER_PROBABILITY
    return out


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
        return self.change is not None and self.adjusted < DRIFT_LEVEL


def drifts(scenario: Scenario, throws: Throws, rng: np.random.Generator) -> tuple[Drift, ...]:
    """Return the drift of each build of `throws`, with p values adjusted by Holm's method."""
    good = throws.chosen(usable(throws))
    tested = [_drift(scenario, good.chosen(good.build == build), build, rng) for build in good.builds]
    known = {k: change.probability for k, (_, change) in enumerate(tested) if change is not None}
    adjusted = dict(zip(known, holm(list(known.values())), strict=True))
    return tuple(
        Drift(build=build, throws=count, by=by, change=change, adjusted=adjusted.get(k, 1.0), reason=reason)
        for k, ((build, count, by, reason), change) in enumerate(tested)
    )


Row = tuple[str, int, str, str]
"""Build, number of throws, regressor and reason, as in `Drift`."""


def _drift(scenario: Scenario, throws: Throws, build: str, rng: np.random.Generator) -> tuple[Row, Difference | None]:
    """Return the drift of one build: from repeated settings where they suffice, else beside the fitted model."""
    count = len(throws)
    (by, _), column = clock(throws), moments(throws)
    if count < LEAST_DRIFT_THROWS:
        return (build, count, by, f"needs at least {LEAST_DRIFT_THROWS} throws in a known order"), None
    if column is None:
        return (build, count, by, UNKNOWN_ORDER), None
    within = _within_settings(throws, column)
    if within is not None:
        return (build, count, by, ""), within
    fitted = best_fit(scenario, own_law(scenario), throws, noise_of(throws), rng)
    change, reason = _beside_model(fitted, column)
    return (build, count, by, reason), change


def _within_settings(throws: Throws, column: Floats) -> Difference | None:
    """Return the effect of `column` (n,) on ln exit speed beside a mean for each setting; None with too few throws.

    It needs no model. Throws that are almost certainly outliers are left out.
    """
    logs = np.log(throws.exit_speed)
    kept = inliers(logs, throws.settings, noise_of(throws))
    good = throws.chosen(kept)
    try:
        change, free = slope(logs[kept], column[kept], setting_columns(good.settings), good.step)
    except ValueError:
        return None
    return change if free >= LEAST_FREE_SHARE and change.freedom >= LEAST_DRIFT_FREEDOM else None


def _beside_model(fitted: BestFit, column: Floats) -> tuple[Difference | None, str]:
    """Return the effect of `column` (n,) on ln exit speed beside what the model can explain, or None and the reason."""
    try:
        change, free = slope(downweighted_residuals(fitted), column, model_columns(fitted))
    except Collinear:
        return None, CONFOUNDED
    except ValueError as error:
        return None, str(error)
    return (change, "") if free >= LEAST_FREE_SHARE else (None, CONFOUNDED)


LEVEL = 0.05
"""Significance level of a claimed difference [-]."""
LEAST_THROWS = 3
"""Usable throws of a build that a comparison needs."""
LEAST_FREEDOM = 4.0
"""Degrees of freedom from which repeats determine their scatter well enough for Welch's test [-]."""

ROUNDING = 1e-7
"""Relative difference up to which two probabilities count as equal [-], as in Fisher's test of R and SciPy."""
LEAST_OVERLAP = 0.1
"""Probability that a throw of the later build came before one of the earlier (Mann and Whitney's U over its greatest
value), below which the builds were not alternated [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jams:
    """Jams of two builds.

    jammed: number of jams of the first and of the second build
    throws: number of throws, jams among them, of each
    probability: p value of Fisher's exact test within settings, two-sided [-]
    more: the build that jams more often than the settings account for, 0: the first, 1: the second
    settings: line of one throw, jams of each build and throws of each, for each setting at which either jammed
    """

    jammed: tuple[int, int]
    throws: tuple[int, int]
    probability: float
    more: int
    settings: tuple[tuple[int, tuple[int, ...], tuple[int, ...]], ...]

    @property
    def different(self) -> bool:
        """Whether one build is claimed to jam more often, at the 5 % level."""
        return self.probability < LEVEL


def jams_of(throws: Throws, builds: tuple[str, str]) -> Jams:
    """Return the jams of two builds, and whether one jams more often at settings that both were thrown at.

    Given the number of jams at a setting, those of equal builds are spread over its throws by chance, as in Fisher's
    exact test; their sum over the settings is compared with its distribution.
    """
    from scipy.stats import hypergeom

    masks = [throws.build == build for build in builds]
    counted = [
        (
            int(throws.line[at][0]),
            tuple(int((at & mask & throws.jammed).sum()) for mask in masks),
            tuple(int((at & mask).sum()) for mask in masks),
        )
        for at in (throws.settings == number for number in np.unique(throws.settings))
    ]
    chances = np.ones(1)
    for _, jammed, thrown in counted:
        of_first = hypergeom.pmf(np.arange(sum(jammed) + 1), sum(thrown), thrown[0], sum(jammed))
        chances = np.convolve(chances, of_first)
    first, second = (sum(jammed[side] for _, jammed, _ in counted) for side in (0, 1))
    return Jams(
        jammed=(first, second), throws=(int(masks[0].sum()), int(masks[1].sum())),
        probability=min(float(chances[chances <= chances[first] * (1 + ROUNDING)].sum()), 1.0),
        more=int(first < chances @ np.arange(chances.size)),
        settings=tuple(one for one in counted if sum(one[1])),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Comparison of two builds. Differences are ln(exit speed of the first / of the second), near 0 relative ones [-].

    builds: names of the first and the second
    counts: their numbers of usable throws
    jams: their jams, which are no part of the differences of exit speed
    welch: Welch's test over common settings; None with too few repeats or without common settings
    paired: paired t test of the differences at common settings; None likewise
    model: difference of builds beside what the model's parameters can explain; None where it was not computed
    decides: which of the three tests the claim rests on; chosen by the design of the measurement, not by the results
    settings: line of one throw, ln ratio of medians, throws of each build, for each common setting
    apart: whether all throws of one build came before the other's, or nearly
    left_out: lines of the throws that are almost certainly outliers among those at their setting
    outliers: number of throws that are more probably outliers than not
    explanations: single changes that explain the difference, best first
    equal: number of explanations that do about as well as the best
    """

    builds: tuple[str, str]
    counts: tuple[int, int]
    jams: Jams
    welch: Difference | None
    paired: Difference | None
    model: Difference | None
    decides: str
    settings: tuple[tuple[int, float, int, int], ...]
    apart: bool
    left_out: tuple[int, ...]
    outliers: int
    explanations: tuple[Hypothesis, ...]
    equal: int

    @property
    def deciding(self) -> Difference:
        """Return the test that the claim rests on."""
        found: Difference = getattr(self, self.decides)
        return found

    @property
    def speeds_differ(self) -> bool:
        """Whether a difference of exit speed is claimed, at the 5 % level."""
        return self.deciding.probability < LEVEL

    @property
    def different(self) -> bool:
        """Whether a difference of exit speed or of jams is claimed."""
        return self.speeds_differ or self.jams.different


def compare(
    scenario: Scenario, throws: Throws, builds: tuple[str, str], rng: np.random.Generator, *, brief: bool = False
) -> Compared:
    """Compare two builds of `throws`.

    Parameters
    ----------
    scenario : Scenario
    throws : Throws
    builds : tuple of str
        Names of the two builds.
    rng : Generator
    brief : bool
        Leave out explanations, and the model where a test by settings decides.

    Raises
    ------
    InputErrors
        Where a build has too few throws, or no test is possible.
    """
    chosen = _chosen(throws, builds)
    first = chosen.build == builds[0]
    apart = _not_alternated(chosen, first)
    tests = _tests_by_settings(chosen, first, apart)
    enough = any(test is not None for test in tests.values())
    found = None if brief and enough else best_fit(scenario, own_law(scenario), chosen, noise_of(chosen), rng)
    tests["model"] = None if found is None else _beside_model(found, first.astype(np.float64))[0]
    decides = _decides(tests)
    if decides is None:
        hint = "measure both builds at the same wheel speeds, twice each at least"
        message = "these throws cannot be compared: too few, or no settings in common"
        raise InputErrors([InputError(message, where=throws.source, hint=hint)])
    explanations: tuple[Hypothesis, ...] = ()
    equal = 0
    deciding = tests[decides]
    if found is not None and not brief and deciding is not None and deciding.probability < LEVEL:
        explanations, equal = explain(found, chosen, ~first)
    logs = np.log(chosen.exit_speed)
    return Compared(
        builds=builds, counts=(int(first.sum()), int((~first).sum())),
        jams=jams_of(throws.chosen(np.isin(throws.build, builds)), builds),
        welch=tests["welch"], paired=tests["paired"], model=tests["model"], decides=decides,
        settings=tuple(
            (int(chosen.line[a][0]), float(np.median(logs[a]) - np.median(logs[b])), int(a.sum()), int(b.sum()))
            for a, b in common(chosen, first)
        ),
        apart=apart, left_out=tuple(chosen.line[~inliers(logs, chosen.settings, noise_of(chosen))].tolist()),
        outliers=_outliers(found, explanations), explanations=explanations, equal=equal,
    )  # fmt: skip


def difference_by_settings(throws: Throws, first: NDArray[np.bool_]) -> Difference | None:
    """Return the test by settings, without a model, of the throws `first`, (n,), against the others; None: none."""
    tests = _tests_by_settings(throws, first, _not_alternated(throws, first))
    return tests[_decides(tests) or "welch"]


def _tests_by_settings(throws: Throws, first: NDArray[np.bool_], apart: bool) -> dict[str, Difference | None]:
    """Return Welch's test over common settings, or the paired test where it has more degrees of freedom.

    A linear drift is removed where the builds were alternated in an order that is known.
    """
    logs, settings = np.log(throws.exit_speed), throws.settings
    welch = by_settings(logs, first, settings, None if apart else moments(throws), throws.step)
    pairs = paired(logs, first, settings, throws.step)
    if welch is not None and (pairs is None or welch.freedom >= min(LEAST_FREEDOM, pairs.freedom)):
        return {"welch": welch, "paired": None}
    return {"welch": None, "paired": pairs}


def _not_alternated(throws: Throws, first: NDArray[np.bool_]) -> bool:
    """Whether all throws of one build came before the other's, or nearly, by LEAST_OVERLAP."""
    when = clock(throws)[1]
    before = float(np.mean(0.5 + 0.5 * np.sign(np.subtract.outer(when[first], when[~first]))))
    return min(before, 1 - before) < LEAST_OVERLAP


def _outliers(found: BestFit | None, explanations: tuple[Hypothesis, ...]) -> int:
    """Return the number of outliers, where there are explanations those of the best one."""
    if explanations:
        return explanations[0].wild
    return 0 if found is None else int((found.outlier_probability > 0.5).sum())


Pair = tuple[NDArray[np.bool_], NDArray[np.bool_]]
"""Which throws of the first and of the second build were made at a setting, (n,) each."""


def common(throws: Throws, first: NDArray[np.bool_]) -> list[Pair]:
    """Return the settings that both builds were thrown at, with the throws of each; first: of the first build, (n,)."""
    settings = throws.settings
    return [
        ((settings == k) & first, (settings == k) & ~first) for k in np.intersect1d(settings[first], settings[~first])
    ]


def _chosen(throws: Throws, builds: tuple[str, str]) -> Throws:
    """Return the usable throws of both builds.

    Raises
    ------
    InputErrors
        Where a build is unknown or has too few throws, or both are the same.
    """
    known = throws.builds
    wrong = [name for name in builds if name not in known]
    if wrong:
        names = ", ".join(f'"{name}"' for name in known if name)
        hint = f"the table names {names or 'no builds: add a column build'}"
        raise InputErrors([InputError(f'no throw of build "{name}"', where=throws.source, hint=hint) for name in wrong])
    if builds[0] == builds[1]:
        raise InputErrors([InputError("name two builds that differ", where="--builds", hint="--builds A B")])
    good = throws.chosen(usable(throws))
    chosen = good.chosen((good.build == builds[0]) | (good.build == builds[1]))
    few = [name for name in builds if (chosen.build == name).sum() < LEAST_THROWS]
    if few:
        hint = "a handful of throws each, at the same wheel speeds, is a good start"
        errors = [
            InputError(
                f'build "{name}" needs at least {LEAST_THROWS} throws that leave (got {(chosen.build == name).sum()},'
                f" {(throws.jammed & (throws.build == name)).sum()} that jammed)",
                where=throws.source,
                hint=hint,
            )
            for name in few
        ]
        raise InputErrors(errors)
    return chosen


def _decides(tests: dict[str, Difference | None]) -> str | None:
    """Return the first of "welch", "paired" and "model" that could be made."""
    return next((name for name, test in tests.items() if test is not None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """Two builds compared, and the drift of each."""

    compared: Compared
    drifts: tuple[Drift, ...]

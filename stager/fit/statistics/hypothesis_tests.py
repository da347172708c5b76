"""Compute statistical tests: two builds (Welch, exchanges of builds), trend, residuals; AICc, Holm's adjustment."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.statistics.least_squares import LeastSquares, minimise
from stager.model.arrays import Floats


def aicc(loss: float, parameters: float, count: int) -> float:
    """Return AICc, Akaike's information criterion with the correction for small samples [-].

    AICc = 2·loss + 2k + 2k(k + 1)/(n − k − 1); infinite where n ≤ k + 1.

    Parameters
    ----------
    loss : float
        −ln likelihood at the fit [-].
    parameters : float
        k, with the parameter of the noise. It may be an effective number, the trace of the smoother (Hurvich, Simonoff
        and Tsai 1998).
    count : int
        n, the number of data.

    References
    ----------
    Hurvich and Tsai, Biometrika 76 (1989), as read in the manual of the R package sme. Hurvich, Simonoff and Tsai,
    J. R. Stat. Soc. B 60 (1998).
    """
    left = count - parameters - 1
    return math.inf if left <= 0 else 2 * loss + 2 * parameters + 2 * parameters * (parameters + 1) / left


def holm(probabilities: list[float]) -> list[float]:
    """Return p values adjusted for multiple tests, in the order given.

    Holm, Scand. J. Stat. 6 (1979), as R's p.adjust computes it.
    """
    order = sorted(range(len(probabilities)), key=lambda k: probabilities[k])
    out, least = [0.0] * len(probabilities), 0.0
    for rank, k in enumerate(order):
        least = max(least, min(1.0, (len(probabilities) - rank) * probabilities[k]))
        out[k] = least
    return out


def exact_test(marked: int, size: int, all_marked: int, count: int) -> float:
    """Return the two-sided p value of Fisher's exact test of whether a group has its share of what is marked.

    Parameters
    ----------
    marked, size : int
        Numbers of the group: marked ones, all.
    all_marked, count : int
        The same of the group and the others together.

    References
    ----------
    Fisher, J. R. Stat. Soc. 85 (1922); two-sided as SciPy's `fisher_exact` computes it, which takes 1 s to import.
    """
    from scipy.special import gammaln

    possible = np.arange(max(0, size + all_marked - count), min(size, all_marked) + 1)
    logs = -sum(
        gammaln(cell + 1.0)
        for cell in (possible, size - possible, all_marked - possible, count - size - all_marked + possible)
    )
    chances = np.exp(logs - logs.max())
    here = chances[possible == marked]
    return float(chances[chances <= here * (1 + 1e-7)].sum() / chances.sum())


Labels = NDArray[np.bool_]
"""Whether each value belongs to the first build, (n,)."""
Groups = NDArray[np.intp]
"""Number of the setting of each value, (n,)."""
CLIP_LIMIT = 1.5
"""Standard deviations at which residuals are clipped in the fit that shows outliers [-], as by Huber's proposal 2
(function `hubers` of the R package MASS)."""
COVERAGE = 0.95
"""Of intervals [-]."""
OUTLIER_LIMIT = 3.5
"""Standard deviations from which a throw is left out [-]."""
SCALE_QUANTILE = 0.6
"""Quantile of absolute residuals that estimates their scale [-]: outliers hardly move it."""
NORMAL_QUANTILE = 0.8416212335729143
"""The same quantile of a standard normal variable [-]."""
MAX_CONDITION = 1e6
"""Condition number above which the variances of two builds cannot be separated [-]."""
ITERATIONS = 20
"""Iterations of the robust fit."""
LEAST_BEYOND = 8
"""Throws beyond the number of other coefficients, from which a linear drift is fitted too."""
PERMUTATIONS = 999
"""Random exchanges of builds: p values come in steps of 1/1000."""
PERMUTATION_SEED = 5
"""Seed of these exchanges, fixed so that a table always gives the same p value."""
LEAST_ARRANGEMENTS = 1000
"""Ways to exchange builds below which the p value would be too coarse for the 5 % level."""
FEWEST_PAIRS = 3
"""Settings in common that a paired test needs, for two degrees of freedom."""
LEAST_UNCERTAINTY = 1e-12
"""Standard uncertainty below which there is none but for the arithmetic: it gives no test."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A difference of means or a regression coefficient, with its test against 0.

    value: the difference, in the unit of the values
    standard_uncertainty: its standard error, in that unit
    freedom: degrees of freedom of its t distribution [-]
    probability: two-sided p value [-]
    interval: ends of its confidence interval
    """

    value: float
    standard_uncertainty: float
    freedom: float
    probability: float
    interval: tuple[float, float]

    @property
    def t(self) -> float:
        """Student's t: value over standard uncertainty [-]."""
        return self.value / self.standard_uncertainty


def by_settings(
    values: Floats, first: Labels, settings: Groups, order: Floats | None = None, step: Floats | None = None, *,
    limit: float = OUTLIER_LIMIT,
) -> Difference | None:  # fmt: skip
    """Return Welch's test over the settings that two builds share, with outliers left out and a linear drift removed.

    Least squares with a mean for each setting and a difference of builds; each build has its own variance. Where throws
    are left out, those that are kept are not normal: then p value and interval come from the distribution of t over
    exchanges of the builds within the settings, which is exact for equal builds but for the scales by which outliers
    are found.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Logarithms of the measured values.
    first : ndarray of bool, shape (n,)
        Whether each belongs to the first build.
    settings : ndarray of int, shape (n,)
        Throws of equal settings have equal numbers.
    order : ndarray, shape (n,), optional
        Time or number of each; None where the builds were not alternated, so that drift cannot be separated.
    step : ndarray, shape (n,), optional
        Least step of the instrument at each value, in the unit of the values. No variance of a value is less than that
        of rounding to it.
    limit : float
        Standard deviations, the larger of the build's and of all throws, about a robust mean of the setting over both
        builds, from which a throw is left out.

    Returns
    -------
    Difference or None
        First less second, with Satterthwaite's degrees of freedom. None without a setting in common, where the
        variance of a build cannot be estimated, or where the values do not scatter.

    Notes
    -----
    SciPy's two-sample tests have no settings; the tests compare with them for one setting.

    References
    ----------
    Welch, Biometrika 34 (1947), with Satterthwaite's degrees of freedom.
    Chung and Romano, Ann. Stat. 41 (2013): permutation of a studentised difference is exact for equal distributions and
    asymptotically valid for equal means; abstract as read in arXiv:1304.5939.
    """
    rows = _shared(first, settings)
    if not rows.any():
        return None
    beside = _covariates(settings[rows], None if order is None else order[rows])
    rounding = _rounding(values, step)
    outlier = _outliers(values[rows], first[rows], beside, limit, rounding[rows])
    if outlier.any():
        rows[np.flatnonzero(rows)[outlier]] = False
        rows[np.flatnonzero(rows)[~_shared(first[rows], settings[rows])]] = False
        if not rows.any():
            return None
        beside = _covariates(settings[rows], None if order is None else order[rows])
    found = _welch(values[rows], first[rows], beside, rounding[rows])
    if found is None or not outlier.any():
        return found
    return _exchanged(found, values[rows], first[rows], settings[rows], beside, rounding[rows])


def _rounding(values: Floats, step: Floats | None) -> Floats:
    """Return the variance of rounding each of `values` (n,) to its step, of even distribution, (n,)."""
    return np.zeros(values.size) if step is None else step**2 / 12


def _shared(first: Labels, settings: Groups) -> Labels:
    """Return which values were measured at a setting that both builds share, (n,)."""
    return np.isin(settings, np.intersect1d(settings[first], settings[~first]))


def _covariates(settings: Groups, order: Floats | None) -> Floats:
    """Return an indicator column for each setting and, where the values suffice, one for a linear drift, (n, k)."""
    columns = [*np.equal.outer(np.unique(settings), settings).astype(np.float64)]
    if order is not None and np.ptp(order) > 0 and settings.size - len(columns) - 1 >= LEAST_BEYOND:
        columns.append((order - order.mean()) / np.ptp(order))
    return np.column_stack(columns)


def _outliers(values: Floats, first: Labels, beside: Floats, limit: float, rounding: Floats) -> Labels:
    """Return which values lie more than `limit` standard deviations from a robust fit of the covariates, (n,).

    The fit has no difference of builds. The standard deviation is the largest of that of the build, of all values and
    of `rounding`, variances (n,).
    A step is the mean clipped residual over the share of residuals that are not clipped, the mean slope by which
    `summary.rlm` of the R package MASS divides.
    """
    if not np.isfinite(limit):
        return np.zeros(values.size, dtype=bool)
    inverse = np.linalg.pinv(beside)
    fitted = beside @ (inverse @ values)
    factor = np.sqrt(values.size / max(values.size - beside.shape[1], 1)) / NORMAL_QUANTILE
    for _ in range(ITERATIONS):
        left = values - fitted
        scales = [np.quantile(np.abs(left[side]), SCALE_QUANTILE) for side in (first, ~first, first | ~first)]
        scale = factor * np.maximum(np.where(first, scales[0], scales[1]), max(scales[2], LEAST_UNCERTAINTY))
        scale = np.maximum(scale, np.sqrt(rounding))
        reach = CLIP_LIMIT * scale
        share = max(float((np.abs(left) <= reach).mean()), 0.3)
        fitted = fitted + beside @ (inverse @ (np.clip(left, -reach, reach) / share))
    return np.asarray(np.abs(values - fitted) > limit * scale)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contrasts:
    """Differences of builds for several ways to label the values.

    value: first less second, (ways,)
    scatter: variance of a value of each build, (ways, 2)
    weights: of these variances in the variance of the difference, (ways, 2)
    mixing: from the builds' variances to the expected sums of squares of their residuals, (ways, 2, 2)
    unit: the label's part that the covariates leave, normalised, (ways, n)
    """

    value: Floats
    scatter: Floats
    weights: Floats
    mixing: Floats
    unit: Floats

    @property
    def variance(self) -> Floats:
        """Variance of the difference, (ways,)."""
        return np.asarray((self.weights * self.scatter).sum(axis=1))


def _contrasts(values: Floats, labels: Floats, rest: Floats, rounding: Floats) -> _Contrasts:
    """Return the differences of builds of `values` (n,) for labels (ways, n), 1 for the first build and 0 else.

    Least squares, by projection on the complement of the covariates as in `slope`; rest: that projection, (n, n);
    rounding: least variances, (n,).
    """
    apart = labels @ rest
    size = np.maximum((apart**2).sum(axis=1, keepdims=True), 1e-300)
    unit = apart / np.sqrt(size)
    value = apart @ values / size[:, 0]
    residuals = rest @ values - value[:, None] * apart
    sides = np.stack([labels, 1 - labels], axis=1)
    # The residual maker is rest − unit·unitᵀ; its entries are squared term by term.
    along, square = sides * unit[:, None], (sides @ (unit**2)[..., None])
    mixing = sides @ rest**2 @ np.swapaxes(sides, 1, 2) - 2 * along @ rest @ np.swapaxes(along, 1, 2)
    mixing = mixing + square @ np.swapaxes(square, 1, 2)
    first, second = np.moveaxis((sides @ (residuals**2)[..., None])[..., 0], 1, 0)
    (a, b), (c, d) = np.moveaxis(mixing, 0, 2)
    determinant = np.maximum(a * d - b * c, 1e-300)
    scatter = np.stack([d * first - b * second, a * second - c * first], axis=1) / determinant[:, None]
    scatter = np.maximum(scatter, sides @ rounding / np.maximum(sides.sum(axis=2), 1))
    return _Contrasts(value=value, scatter=scatter, weights=square[..., 0] / size, mixing=mixing, unit=unit)


def _welch(values: Floats, first: Labels, beside: Floats, rounding: Floats) -> Difference | None:
    """Return Welch's test beside covariates (n, k); None where the variance of a build cannot be estimated."""
    rest = _complement(beside)
    found = _contrasts(values, first[None].astype(np.float64), rest, rounding)
    rank = np.linalg.matrix_rank(np.column_stack([first, beside]))
    if values.size <= rank or np.linalg.cond(found.mixing[0]) > MAX_CONDITION:
        return None
    sides = np.stack([first, ~first]).astype(np.float64)
    left_over = rest - np.outer(found.unit[0], found.unit[0])
    variance = float(found.variance[0])
    # The variance w·s is a quadratic form of the values; its own variance is 2 tr((M V M D)²) for normal values, with M
    # the residual maker, V the variances and D the weight of each squared residual. Satterthwaite's degrees of freedom
    # follow from both.
    share = np.linalg.solve(found.mixing[0].T, found.weights[0]) @ sides
    turned = left_over @ (share[:, None] * left_over) * (found.scatter[0] @ sides)
    spread = 2 * float((turned * turned.T).sum())
    freedom = 2 * variance**2 / spread if spread > 0 else float(values.size - beside.shape[1] - 1)
    return t_test(float(found.value[0]), float(np.sqrt(variance)), freedom)


def _exchanged(
    found: Difference, values: Floats, first: Labels, settings: Groups, beside: Floats, rounding: Floats
) -> Difference:
    """Return `found` with p value and interval by the distribution of t over exchanges of builds within settings.

    Unchanged below LEAST_ARRANGEMENTS arrangements.
    """
    counts = [(int((settings == k).sum()), int(first[settings == k].sum())) for k in np.unique(settings)]
    if math.prod(math.comb(whole, part) for whole, part in counts) < LEAST_ARRANGEMENTS:
        return found
    rng = np.random.default_rng(PERMUTATION_SEED)
    labels = np.empty((PERMUTATIONS, first.size))
    labels[:, np.argsort(settings, kind="stable")] = first[
        np.argsort(rng.random(labels.shape) + np.unique(settings, return_inverse=True)[1], axis=1)
    ]
    drawn = _contrasts(values, labels, _complement(beside), rounding)
    sizes = np.abs(drawn.value) / np.sqrt(np.maximum(drawn.variance, LEAST_UNCERTAINTY**2))
    as_far = int((sizes >= abs(found.t) * (1 - 1e-9)).sum())
    width = float(np.quantile(sizes, COVERAGE, method="higher")) * found.standard_uncertainty
    return replace(
        found, probability=(1 + as_far) / (1 + PERMUTATIONS), interval=(found.value - width, found.value + width)
    )  # fmt: skip


def _complement(covariates: Floats) -> Floats:
    """Return the projection on the complement of covariates (n, k), (n, n)."""
    basis = _basis(covariates)
    return np.eye(len(covariates)) - basis @ basis.T


def paired(values: Floats, first: Labels, settings: Groups, step: Floats | None = None) -> Difference | None:
    """Return the paired t test over settings, first less second.

    None below FEWEST_PAIRS settings in common, or where the differences do not scatter. The difference at a setting is
    that of the medians; parameters as in `by_settings`.
    """
    shared = np.intersect1d(settings[first], settings[~first])
    if shared.size < FEWEST_PAIRS:
        return None
    pairs = [((settings == k) & first, (settings == k) & ~first) for k in shared]
    apart = np.array([np.median(values[a]) - np.median(values[b]) for a, b in pairs])
    rounding = _rounding(values, step)
    least = np.array([rounding[a].mean() / a.sum() + rounding[b].mean() / b.sum() for a, b in pairs])
    variance = max(float(apart.var(ddof=1)), float(least.mean())) / shared.size
    return t_test(float(apart.mean()), float(np.sqrt(variance)), float(shared.size - 1))


def t_test(value: float, standard_uncertainty: float, freedom: float) -> Difference | None:
    """Return `value` with its interval and its p value against 0, by Student's t with `freedom` degrees of freedom.

    None where the value has no uncertainty.
    """
    from scipy.special import stdtr, stdtrit

    if standard_uncertainty < LEAST_UNCERTAINTY:
        return None
    width = float(stdtrit(freedom, 0.5 + COVERAGE / 2)) * standard_uncertainty
    return Difference(
        value=value, standard_uncertainty=standard_uncertainty, freedom=freedom,
        probability=float(2 * stdtr(freedom, -abs(value) / standard_uncertainty)),
        interval=(value - width, value + width),
    )  # fmt: skip


class Collinear(ValueError):
    """Raised where a regressor is a linear combination of the covariates."""


def slope(values: Floats, column: Floats, covariates: Floats, step: Floats | None = None) -> tuple[Difference, float]:
    """Return the regression coefficient of `column` beside covariates, and the share of it that they leave free.

    By projection on the complement of the covariates (theorem of Frisch, Waugh and Lovell, as read in Wikipedia).

    Parameters
    ----------
    values : ndarray, shape (n,)
        In any unit.
    column : ndarray, shape (n,)
        The regressor under test.
    covariates : ndarray, shape (n, k)
    step : ndarray, shape (n,), optional
        As in `by_settings`.

    Returns
    -------
    coefficient : Difference
        In the unit of `values` over that of `column`.
    share : float
        Share of the column's sum of squares about its mean that the covariates do not explain [-].

    Raises
    ------
    ValueError
        Where less than one degree of freedom is left, or where the values do not scatter.
    Collinear
        Where the column is a linear combination of the covariates.
    """
    basis = _basis(covariates)
    left = column - basis @ (basis.T @ column)
    about_mean = float(((column - column.mean()) ** 2).sum())
    share = float((left**2).sum()) / about_mean if about_mean > 0 else 0.0
    freedom = values.size - basis.shape[1] - 1
    if freedom < 1:
        raise ValueError("too few throws to tell this from the settings")
    if share < 1e-9:
        raise Collinear("goes with the settings")
    value = float(left @ values / (left @ left))
    residuals = values - basis @ (basis.T @ values) - value * left
    scatter = max(float((residuals**2).sum()) / freedom, float(_rounding(values, step).mean()))
    found = t_test(value, float(np.sqrt(scatter / (left @ left))), float(freedom))
    if found is None:
        raise ValueError("the throws do not scatter, so that nothing tells how certain a change is")
    return found, share


RESAMPLES = 1999
"""Simulated samples of a test: p values come in steps of 1/2000."""
LEAST_RESIDUALS = 6
"""Residuals that a test needs; with fewer no pattern is significant."""


PATTERN_ITERATIONS = 8
"""Iterations of a fit with patterns [-]."""
PATTERN_STARTS = (-0.1, 0.1)
"""Sizes of each pattern, of ln exit speed, that this fit starts from besides 0 [-]."""
PATTERN_STEP = 3e-3
"""Step of the difference quotients by them [-]."""


def pattern_test(problem: LeastSquares, best: Floats, spent: float, patterns: Floats) -> float:
    """Return the p value of a likelihood ratio test of whether the residuals follow `patterns`.

    The problem is solved once more with any amount of each pattern taken off its residuals. What that gains is judged
    as in an F test with as many degrees of freedom as the priors leave.

    Parameters
    ----------
    problem : LeastSquares
        Residuals of ln exit speed, with a loss of unknown scatter; behind them there may be others.
    best : ndarray, shape (p,)
        Parameters at its minimum.
    spent : float
        Effective number of parameters that the residuals determine.
    patterns : ndarray, shape (n, k)
        Of the first n residuals.

    Returns
    -------
    float
        1 where there are no patterns, or too few residuals.
    """
    from scipy.special import fdtrc

    count, size = patterns.shape
    freedom = count - spent - size
    if freedom < 1 or not patterns.any():
        return 1.0
    without, (_, _, least) = float(problem.objective(best[None])[0]), solve_with(problem, best, patterns)
    return float(fdtrc(size, freedom, np.expm1(2 * max(without - least, 0.0) / count) * freedom / size))


def solve_with(problem: LeastSquares, best: Floats, patterns: Floats) -> tuple[LeastSquares, Floats, float]:
    """Solve a problem with any amount of `patterns`, (n, k), taken off its first n residuals.

    Returns it with these amounts as its last k parameters, the parameters (p + k,) at its minimum, and the objective
    there; best: parameters at the minimum without, (p,).
    """
    count, size = patterns.shape

    def residuals(place: Floats) -> Floats:
        left = problem.residuals(place[:, :-size]).copy()
        left[:, :count] -= place[:, -size:] @ patterns.T
        return left

    def prior(place: Floats) -> tuple[Floats, Floats]:
        away, slope = problem.prior(place[:, :-size])
        none = np.zeros((len(place), size))
        return np.hstack([away, none]), np.hstack([slope, none])

    steps = np.append(problem.step, np.full(size, PATTERN_STEP))
    wider = replace(problem, residuals=residuals, prior=prior, step=steps)
    sizes = np.vstack([np.zeros(size), *(start * np.eye(size) for start in PATTERN_STARTS)])
    starts = np.hstack([np.tile(best, (len(sizes), 1)), sizes])
    found = minimise(wider, starts, iterations=PATTERN_ITERATIONS, adapt=True)
    return wider, found.place[found.best], float(found.objective[found.best])


def serial_correlation_test(residuals: Floats, tangents: Floats, rng: np.random.Generator) -> float:
    """Return the p value of positive serial correlation of the residuals, in the order given.

    The statistic is von Neumann's ratio. Its distribution is simulated with normal residuals after the same fit.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
    tangents : ndarray, shape (n, p)
        Directions that the fit has adjusted already.
    rng : Generator

    Returns
    -------
    float
        1 where too few residuals are left.

    References
    ----------
    von Neumann, Ann. Math. Stat. 12 (1941).
    """
    if residuals.size < LEAST_RESIDUALS:
        return 1.0
    before = _basis(tangents)
    if residuals.size - before.shape[1] < LEAST_RESIDUALS // 2:
        return 1.0
    fresh = rng.normal(size=(RESAMPLES, residuals.size))
    fresh -= (fresh @ before) @ before.T
    here = _von_neumann_ratio((residuals - before @ (before.T @ residuals))[None])[0]
    return float((1 + (_von_neumann_ratio(fresh) <= here).sum()) / (1 + RESAMPLES))


def two_groups_test(residuals: Floats, rng: np.random.Generator) -> tuple[float, Floats]:
    """Return the p value of residuals (n,) forming two groups, and the group of each (n,), 0 or 1.

    The statistic is the share of the sum of squares within the two groups of the best split. Its distribution is
    simulated with normal residuals.
    """
    if residuals.size < 2 * LEAST_RESIDUALS:
        return 1.0, np.zeros(residuals.size)
    here, cut = _best_split(residuals[None])
    fresh, _ = _best_split(rng.normal(size=(RESAMPLES, residuals.size)))
    return float((1 + (fresh <= here[0]).sum()) / (1 + RESAMPLES)), (residuals > cut[0]).astype(np.float64)


def _von_neumann_ratio(rows: Floats) -> Floats:
    """Return the sum of squared differences of neighbours over the sum of squares, (rows,) for (rows, n)."""
    return np.asarray((np.diff(rows, axis=1) ** 2).sum(axis=1) / np.maximum((rows**2).sum(axis=1), 1e-300))


def _best_split(rows: Floats) -> tuple[Floats, Floats]:
    """Return the share of the sum of squares within the groups of the best split, and its threshold.

    Both (rows,) for `rows` (rows, n).
    """
    ordered = np.sort(rows, axis=1)
    count = rows.shape[1]
    sums = np.cumsum(ordered, axis=1)
    sizes = np.arange(1, count)
    low, high = sums[:, :-1] / sizes, (sums[:, -1:] - sums[:, :-1]) / (count - sizes)
    total = (ordered**2).sum(axis=1, keepdims=True) - sums[:, -1:] ** 2 / count
    between = sizes * low**2 + (count - sizes) * high**2 - sums[:, -1:] ** 2 / count
    # A single outlier is not a group, so each group has at least two values and an eighth of all.
    enough = (sizes >= max(2, count // 8)) & (sizes <= count - max(2, count // 8))
    share = np.where(enough, 1 - between / np.maximum(total, 1e-300), np.inf)
    best = share.argmin(axis=1)
    lanes = np.arange(len(rows))
    return share[lanes, best], (ordered[lanes, best] + ordered[lanes, best + 1]) / 2


def _basis(columns: Floats) -> Floats:
    """Return orthonormal columns that span `columns` (n, k), without those that are linearly dependent."""
    scale = np.sqrt((columns**2).sum(axis=0))
    kept = columns[:, scale > 1e-9 * max(float(scale.max(initial=0.0)), 1e-300)]
    if kept.shape[1] == 0:
        return np.zeros((columns.shape[0], 0))
    u, s, _ = np.linalg.svd(kept / np.sqrt((kept**2).sum(axis=0)), full_matrices=False)
    return np.asarray(u[:, s > 1e-6 * s.max()])

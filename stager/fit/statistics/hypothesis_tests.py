"""Two-sample tests (Welch), a regression coefficient, patterns in residuals; AICc and Holm's adjustment."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats


def aicc(loss: float, parameters: float, count: int) -> float:
    """Return AICc = 2·loss + 2k + 2k(k + 1)/(n − k − 1); inf where n ≤ k + 1.

    loss: −ln likelihood at the fit; parameters: k, with that of the noise, may be an effective number (trace of the
    smoother, as in Hurvich, Simonoff and Tsai, J. R. Stat. Soc. B 60 (1998)); count: n of data. Hurvich and Tsai,
    Biometrika 76 (1989), as read in the manual of the R package sme.
    """
    left = count - parameters - 1
    return math.inf if left <= 0 else 2 * loss + 2 * parameters + 2 * parameters * (parameters + 1) / left


def holm(probabilities: list[float]) -> list[float]:
    """Return p values adjusted for multiple tests, in their order (Holm, Scand. J. Stat. 6 (1979), as R's p.adjust)."""
    order = sorted(range(len(probabilities)), key=lambda k: probabilities[k])
    out, least = [0.0] * len(probabilities), 0.0
    for rank, k in enumerate(order):
        least = max(least, min(1.0, (len(probabilities) - rank) * probabilities[k]))
        out[k] = least
    return out


Labels = NDArray[np.bool_]
Groups = NDArray[np.intp]
CLIP = 3.0
"""Standard deviations at which residuals are clipped [-]."""
OUTLIER = 4.5
"""Standard deviations from which a throw is left out [-]."""
QUANTILE = 0.6
"""Quantile of absolute residuals that estimates their scale [-]: outliers hardly move it."""
NORMAL_QUANTILE = 0.8416212335729143
"""The same quantile of a standard normal variable [-]."""
MAX_CONDITION = 1e6
"""Condition number above which the variances of two builds cannot be separated [-]."""
ROUNDS = 20
"""Iterations of the robust fit [-]."""
ENOUGH_FOR_DRIFT = 8
"""Throws beyond the number of other coefficients, from which a linear drift is fitted too [-]."""
FEWEST_PAIRS = 3
"""Settings in common that a paired test needs [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A difference of means, its standard uncertainty, degrees of freedom, two-sided p value and interval."""

    value: float
    standard_uncertainty: float
    freedom: float
    probability: float
    interval: tuple[float, float]

    @property
    def t(self) -> float:
        """Return value / standard uncertainty."""
        return self.value / self.standard_uncertainty


def welch(first: Floats, second: Floats, *, coverage: float = 0.95) -> Difference:
    """Return the difference of means, `first` less `second`, any unit.

    Welch, Biometrika 34 (1947), with Satterthwaite's degrees of freedom. Raises ValueError below two values each.
    """
    return stratified([(first, second)], coverage=coverage)


def stratified(pairs: Sequence[tuple[Floats, Floats]], *, coverage: float = 0.95) -> Difference:
    """Return the mean over settings of the differences of means, first less second; with one setting Welch's test.

    Each build has one variance over its settings, so that a setting with a single throw contributes.
    Raises ValueError where a build has no setting with two throws.
    """
    values = np.concatenate([sample for pair in pairs for sample in pair])
    first = np.concatenate([np.full(len(sample), side == 0) for pair in pairs for side, sample in enumerate(pair)])
    settings = np.concatenate([np.full(len(sample), k) for k, pair in enumerate(pairs) for sample in pair])
    found = by_settings(values, first, settings, clip=np.inf, coverage=coverage)
    if found is None:
        raise ValueError("scatter needs at least two throws at one setting")
    return found


def by_settings(
    values: Floats, first: Labels, settings: Groups, order: Floats | None = None, *, clip: float = CLIP,
    coverage: float = 0.95,
) -> Difference | None:  # fmt: skip
    """Return Welch's test over the settings that two builds share, with outliers left out and a linear drift removed.

    Least squares with a mean for each setting and a difference of builds; each build has its own variance.

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
    clip : float
        Standard deviations of the build at which residuals are clipped, as in Huber's pseudo-values (Robust
        Statistics, 1981; from memory). Half as far again a throw is left out: clipped, it still adds to the variance.

    Returns
    -------
    Difference or None
        First less second, with Satterthwaite's degrees of freedom. None without a setting in common, or where the
        variance of a build cannot be estimated.

    Notes
    -----
    SciPy's two-sample tests have no settings; the tests compare with them for one setting.
    """
    both = np.isin(settings, np.intersect1d(settings[first], settings[~first]))
    whole, first, settings = values[both], first[both], settings[both]
    values = whole
    if not values.size:
        return None
    columns = [first.astype(np.float64), *np.equal.outer(np.unique(settings), settings).astype(np.float64)]
    along = None if order is None else order[both]
    if along is not None and np.ptp(along) > 0 and values.size - len(columns) >= ENOUGH_FOR_DRIFT:
        columns.append((along - along.mean()) / np.ptp(along))
    design = np.column_stack(columns)
    inverse = np.linalg.pinv(design)
    left_over = np.eye(values.size) - design @ inverse
    sides = np.stack([first, ~first]).astype(np.float64)
    mixing = sides @ left_over**2 @ sides.T
    if values.size <= np.linalg.matrix_rank(design) or np.linalg.cond(mixing) > MAX_CONDITION:
        return None
    values, outlier = _clipped(values, design, inverse, sides, clip)
    if outlier.any():
        return by_settings(
            whole[~outlier], first[~outlier], settings[~outlier], None if along is None else along[~outlier], clip=clip,
            coverage=coverage,
        )  # fmt: skip
    residuals = left_over @ values
    scatter = np.maximum(np.linalg.solve(mixing, sides @ residuals**2), 0.0)
    weights = inverse[0] ** 2 @ sides.T
    variance = float(weights @ scatter)
    # Var(w·s) of unbiased quadratic forms: 2 tr((M V M D)²) with D the weights' share of each value.
    share = np.linalg.solve(mixing.T, weights) @ sides
    turned = left_over @ (share[:, None] * left_over) * (scatter @ sides)
    spread = 2 * float((turned * turned.T).sum())
    freedom = 2 * variance**2 / spread if spread > 0 else float(values.size - design.shape[1])
    return t_test(float(inverse[0] @ values), float(np.sqrt(variance)), freedom, coverage)


def _clipped(
    values: Floats, design: Floats, inverse: Floats, sides: Floats, clip: float
) -> tuple[Floats, Labels]:  # fmt: skip
    """Return pseudo-values, a robust fit plus residuals clipped at `clip` standard deviations of their build, and which
    lie far enough out to be left out."""
    if not np.isfinite(clip):
        return values, np.zeros(values.size, dtype=bool)
    fitted = design @ (inverse @ values)
    factor = np.sqrt(values.size / max(values.size - design.shape[1], 1)) / NORMAL_QUANTILE
    held, share, far = values - fitted, np.ones(values.size), np.zeros(values.size, dtype=bool)
    for _ in range(ROUNDS):
        left = values - fitted
        scale = np.array([float(np.quantile(np.abs(left[side > 0]), QUANTILE)) for side in sides]) * factor
        limit = np.maximum(clip * scale, 1e-12) @ sides
        held, far = np.clip(left, -limit, limit), np.abs(left) > OUTLIER / CLIP * limit
        inside = np.array([float((np.abs(left) <= limit)[side > 0].mean()) for side in sides])
        share = np.maximum(inside, 0.3) @ sides
        fitted = fitted + design @ (inverse @ (held / share))
    return np.asarray(fitted + held / share), far


def paired(values: Floats, first: Labels, settings: Groups, *, coverage: float = 0.95) -> Difference | None:
    """Return the paired t test of the settings' differences, first less second; None below FEWEST_PAIRS in common."""
    shared = np.intersect1d(settings[first], settings[~first])
    if shared.size < FEWEST_PAIRS:
        return None
    apart = np.array(
        [np.median(values[(settings == k) & first]) - np.median(values[(settings == k) & ~first]) for k in shared]
    )
    return t_test(
        float(apart.mean()), float(apart.std(ddof=1) / np.sqrt(shared.size)), float(shared.size - 1), coverage
    )


def t_test(value: float, standard_uncertainty: float, freedom: float, coverage: float = 0.95) -> Difference:
    """Return a value with its Student's t interval and p value against 0."""
    from scipy.special import stdtr, stdtrit

    if standard_uncertainty == 0:
        return Difference(
            value=value, standard_uncertainty=0.0, freedom=freedom, probability=float(value == 0), interval=(value,) * 2
        )
    width = float(stdtrit(freedom, 0.5 + coverage / 2)) * standard_uncertainty
    return Difference(
        value=value, standard_uncertainty=standard_uncertainty, freedom=freedom,
        probability=float(2 * stdtr(freedom, -abs(value) / standard_uncertainty)),
        interval=(value - width, value + width),
    )  # fmt: skip


class Together(ValueError):
    """A column is a linear combination of the covariates."""


def slope(values: Floats, column: Floats, covariates: Floats, *, coverage: float = 0.95) -> tuple[Difference, float]:
    """Return the regression coefficient of `column` (n,) in `values` (n,) beside `covariates` (n, k), any units.

    Also the share of the column's sum of squares that the covariates do not explain [-].

    Raises
    ------
    ValueError
        Where less than one degree of freedom is left.
    Together
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
        raise Together("goes with the settings")
    value = float(left @ values / (left @ left))
    residuals = values - basis @ (basis.T @ values) - value * left
    scatter = float((residuals**2).sum()) / freedom
    return t_test(value, float(np.sqrt(scatter / (left @ left))), float(freedom), coverage), share


RESAMPLES = 1999
"""Simulated samples of a test [-]: p values in steps of 1/2000."""
FEWEST = 6
"""Residuals that a test needs [-]."""


def structure(residuals: Floats, columns: Floats, tangents: Floats) -> float:
    """Return the p value of an F test of whether `columns` explain more of the residuals than scatter would.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
    columns : ndarray, shape (n, k)
        Candidate patterns.
    tangents : ndarray, shape (n, p)
        Directions that the fit has adjusted already; patterns within them cannot be tested.

    Returns
    -------
    float
        1 where too few residuals are left.
    """
    from scipy.special import fdtrc

    before = _basis(tangents)
    left = residuals - before @ (before.T @ residuals)
    apart = columns - before @ (before.T @ columns)
    kept = (apart**2).sum(axis=0) > 1e-8 * (columns**2).sum(axis=0)
    beyond = _basis(apart[:, kept])
    freedom = residuals.size - before.shape[1] - beyond.shape[1]
    if freedom < 1 or beyond.shape[1] == 0:
        return 1.0
    explained = float(((beyond.T @ left) ** 2).sum())
    rest = float((left**2).sum()) - explained
    if rest <= 0:
        return 1.0 if explained <= 0 else 0.0
    return float(fdtrc(beyond.shape[1], freedom, explained / beyond.shape[1] / (rest / freedom)))


def runs(residuals: Floats, tangents: Floats, rng: np.random.Generator) -> float:
    """Return the p value of serial correlation of the residuals, in the order given.

    The ratio of von Neumann (Ann. Math. Stat. 12, 1941), against that of simulated residuals after the same fit;
    tangents (n, p) as in `structure`.
    """
    if residuals.size < FEWEST:
        return 1.0
    before = _basis(tangents)
    if residuals.size - before.shape[1] < FEWEST // 2:
        return 1.0
    fresh = rng.normal(size=(RESAMPLES, residuals.size))
    fresh -= (fresh @ before) @ before.T
    here = _ratio((residuals - before @ (before.T @ residuals))[None])[0]
    return float((1 + (_ratio(fresh) <= here).sum()) / (1 + RESAMPLES))


def groups(residuals: Floats, rng: np.random.Generator) -> tuple[float, Floats]:
    """Return the p value of residuals (n,) forming two groups, and the group of each (n,), 0 or 1.

    The share of the sum of squares within the best two groups, against that of simulated normal residuals.
    """
    if residuals.size < 2 * FEWEST:
        return 1.0, np.zeros(residuals.size)
    here, cut = _two(residuals[None])
    fresh, _ = _two(rng.normal(size=(RESAMPLES, residuals.size)))
    return float((1 + (fresh <= here[0]).sum()) / (1 + RESAMPLES)), (residuals > cut[0]).astype(np.float64)


def _ratio(rows: Floats) -> Floats:
    """Return the sum of squared differences of neighbours / sum of squares, (rows,) for (rows, n)."""
    return np.asarray((np.diff(rows, axis=1) ** 2).sum(axis=1) / np.maximum((rows**2).sum(axis=1), 1e-300))


def _two(rows: Floats) -> tuple[Floats, Floats]:
    """Return the share of the sum of squares within two groups, and their threshold, (rows,) for (rows, n)."""
    ordered = np.sort(rows, axis=1)
    count = rows.shape[1]
    sums = np.cumsum(ordered, axis=1)
    sizes = np.arange(1, count)
    low, high = sums[:, :-1] / sizes, (sums[:, -1:] - sums[:, :-1]) / (count - sizes)
    total = (ordered**2).sum(axis=1, keepdims=True) - sums[:, -1:] ** 2 / count
    between = sizes * low**2 + (count - sizes) * high**2 - sums[:, -1:] ** 2 / count
    # A single outlier is not a group.
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

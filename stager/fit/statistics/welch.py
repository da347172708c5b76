"""Two samples of unequal scatter, alone or setting by setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

Labels = NDArray[np.bool_]
Groups = NDArray[np.intp]
CLIP = 3.0
"""Standard deviations beyond which a throw is drawn in."""

QUANTILE, NORMAL_QUANTILE = 0.6, 0.8416212335729143
"""Share of residuals whose bound tells the scatter, and that bound for a normal one: wild values hardly move it."""

UNTOLD = 1e6
"""Condition at which the scatters of two builds cannot be told apart."""

ROUNDS = 20
ENOUGH_FOR_DRIFT = 8
"""Throws beyond what settings and builds take, that a drift must be learned from."""

FEWEST_PAIRS = 3


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
        """Value by standard uncertainty."""
        return self.value / self.standard_uncertainty


def welch(first: Floats, second: Floats, *, coverage: float = 0.95) -> Difference:
    """Mean of `first` less mean of `second`, any unit.

    Welch, Biometrika 34 (1947), with Satterthwaite's degrees of freedom. Raises ValueError below two values each.
    """
    return stratified([(first, second)], coverage=coverage)


def stratified(pairs: Sequence[tuple[Floats, Floats]], *, coverage: float = 0.95) -> Difference:
    """Mean over settings of the differences of means, first less second; one setting is Welch's test.

    Scatter of each build is taken as common to its settings, so a setting with a single throw still counts.
    Raises ValueError where a build has no setting with two throws.
    """
    values = np.concatenate([sample for pair in pairs for sample in pair])
    first = np.concatenate([np.full(len(sample), side == 0) for pair in pairs for side, sample in enumerate(pair)])
    settings = np.concatenate([np.full(len(sample), k) for k, pair in enumerate(pairs) for sample in pair])
    found = by_cells(values, first, settings, clip=np.inf, coverage=coverage)
    if found is None:
        raise ValueError("scatter needs at least two throws at one setting")
    return found


def by_cells(
    values: Floats, first: Labels, settings: Groups, order: Floats | None = None, *, clip: float = CLIP,
    coverage: float = 0.95,
) -> Difference | None:  # fmt: skip
    """Welch's test over the settings that two builds share, wild values drawn in, a straight drift taken out.

    Least squares with a mean for each setting and a difference of builds, each build with a scatter of its own.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Logarithms of what was measured.
    first : ndarray of bool, shape (n,)
        Which are of the first build.
    settings : ndarray of int, shape (n,)
        Throws of equal settings have equal numbers.
    order : ndarray, shape (n,), optional
        When each was measured; left out where the builds did not take turns.
    clip : float
        Standard deviations of the own build beyond which a residual is drawn in, as Huber's pseudo-values are (Robust
        Statistics, 1981; from memory).

    Returns
    -------
    Difference or None
        First less second, with Satterthwaite's degrees of freedom; for one setting it is Welch's test. None without a
        setting in common, or where a build's scatter cannot be told.

    Notes
    -----
    SciPy's tests of two samples know no settings; the tests hold this against them for one setting.
    """
    both = np.isin(settings, np.intersect1d(settings[first], settings[~first]))
    values, first, settings = values[both], first[both], settings[both]
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
    if values.size <= np.linalg.matrix_rank(design) or np.linalg.cond(mixing) > UNTOLD:
        return None
    values = _drawn_in(values, design, inverse, sides, clip)
    residuals = left_over @ values
    scatter = np.maximum(np.linalg.solve(mixing, sides @ residuals**2), 0.0)
    weights = inverse[0] ** 2 @ sides.T
    variance = float(weights @ scatter)
    # Var(w·s) of unbiased quadratic forms: 2 tr((M V M D)²) with D the weights' share of each value.
    share = np.linalg.solve(mixing.T, weights) @ sides
    turned = left_over @ (share[:, None] * left_over) * (scatter @ sides)
    spread = 2 * float((turned * turned.T).sum())
    freedom = 2 * variance**2 / spread if spread > 0 else float(values.size - design.shape[1])
    return judged(float(inverse[0] @ values), float(np.sqrt(variance)), freedom, coverage)


def _drawn_in(values: Floats, design: Floats, inverse: Floats, sides: Floats, clip: float) -> Floats:
    """Pseudo-values: a robust fit plus residuals that are drawn in to `clip` standard deviations of their build."""
    if not np.isfinite(clip):
        return values
    fitted = design @ (inverse @ values)
    factor = np.sqrt(values.size / max(values.size - design.shape[1], 1)) / NORMAL_QUANTILE
    held, share = values - fitted, np.ones(values.size)
    for _ in range(ROUNDS):
        left = values - fitted
        scale = np.array([float(np.quantile(np.abs(left[side > 0]), QUANTILE)) for side in sides]) * factor
        limit = np.maximum(clip * scale, 1e-12) @ sides
        held = np.clip(left, -limit, limit)
        inside = np.array([float((np.abs(left) <= limit)[side > 0].mean()) for side in sides])
        share = np.maximum(inside, 0.3) @ sides
        fitted = fitted + design @ (inverse @ (held / share))
    return np.asarray(fitted + held / share)


def paired(values: Floats, first: Labels, settings: Groups, *, coverage: float = 0.95) -> Difference | None:
    """Student's t of the differences of settings, first less second; None with fewer than three in common."""
    shared = np.intersect1d(settings[first], settings[~first])
    if shared.size < FEWEST_PAIRS:
        return None
    apart = np.array(
        [np.median(values[(settings == k) & first]) - np.median(values[(settings == k) & ~first]) for k in shared]
    )
    return judged(
        float(apart.mean()), float(apart.std(ddof=1) / np.sqrt(shared.size)), float(shared.size - 1), coverage
    )


def judged(value: float, standard_uncertainty: float, freedom: float, coverage: float = 0.95) -> Difference:
    """A value with its Student's t interval and p value against 0."""
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

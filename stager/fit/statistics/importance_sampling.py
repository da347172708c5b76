"""Draw from a posterior by adaptive importance sampling, with Pareto-smoothed weights and coverage intervals.

Rounds of draws come from mixtures of Student's t, first around the modes, then adapted to the weighted draws. All draws
are weighted against the mixture of all rounds (the balance heuristic of Veach, as in Sbert, Havran and Szirmay-Kalos,
EURASIP J. Adv. Signal Process. 2018). Proposals depend on earlier draws; the small bias falls with their number.

Weights are smoothed, and checked by the shape of their tail (Vehtari, Simpson, Gelman, Yao and Gabry, Pareto smoothed
importance sampling, 2015, JMLR 2024); the tail is fitted as in Zhang and Stephens, Technometrics 51 (2009); both from
memory. The tests compare it with arviz-stats, which would bring many packages along.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np

from stager.model.arrays import Floats


def quantile(draws: Floats, weights: Floats, shares: Floats) -> Floats:
    """Return quantiles of weighted draws.

    Linear interpolation between the middles of the steps of the empirical distribution function.

    Parameters
    ----------
    draws : ndarray, shape (n, ...)
    weights : ndarray, shape (n,)
        They sum to 1.
    shares : ndarray, shape (k,)
        Probabilities of the quantiles [-].

    Returns
    -------
    ndarray, shape (k, ...)
    """
    flat = draws.reshape(draws.shape[0], -1)
    out = np.empty((shares.size, flat.shape[1]))
    for column in range(flat.shape[1]):
        order = np.argsort(flat[:, column], kind="stable")
        heights = np.cumsum(weights[order]) - 0.5 * weights[order]
        out[:, column] = np.interp(shares, heights, flat[order, column])
    return out.reshape(shares.size, *draws.shape[1:])


def interval(draws: Floats, weights: Floats | None = None) -> tuple[float, float]:
    """Return the probabilistically symmetric 95 % coverage interval of draws.

    To keep the coverage with few draws, its ends are order statistics whose expected tail probabilities, r/(n + 1) for
    the r-th of n, are the requested ones; n is the effective sample size.

    Parameters
    ----------
    draws : ndarray, shape (n,)
    weights : ndarray, shape (n,), optional
        They sum to 1; None: all equal.

    References
    ----------
    JCGM 101:2008, 7.7.
    """
    weights = np.full(draws.shape[0], 1 / draws.shape[0]) if weights is None else weights
    tail = 0.025
    tail -= (0.5 - tail) * float((weights**2).sum())
    low, high = quantile(draws, weights, np.array([tail, 1 - tail]))
    return float(low), float(high)


def moments(draws: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Return mean (p,) and covariance (p, p) of weighted draws (n, p)."""
    mean = weights @ draws
    centred = draws - mean
    return mean, (centred * weights[:, None]).T @ centred


TRUSTED = 0.7
"""Pareto shape above which weights are unreliable, however many draws there are [-]; Vehtari et al."""


def threshold(count: int) -> float:
    """Return the Pareto shape above which the weights of `count` draws are unreliable [-].

    min(1 − 1/log10 S, 0.7) for S draws, Vehtari et al.
    """
    return min(1 - 1 / float(np.log10(max(count, 11))), TRUSTED)


def smooth(log_weights: Floats) -> tuple[Floats, float]:
    """Return Pareto-smoothed weights (n,) that sum to 1, and the shape k of their tail [-]; log_weights: (n,).

    The largest weights become expected order statistics of a generalised Pareto distribution fitted to them. k is
    infinite where there are too few draws for the fit, and −∞ where the largest weights are equal.
    """
    weights = np.exp(log_weights - log_weights.max())
    count = weights.size
    tail = min(count // 5, int(3 * np.sqrt(count)))
    if tail < 5:
        return weights / weights.sum(), np.inf
    order = np.argsort(weights)
    cut = weights[order[-tail - 1]]
    over = weights[order[-tail:]] - cut
    if over[-1] <= 0:
        return weights / weights.sum(), -np.inf
    shape, scale = _generalised_pareto(np.maximum(over, 1e-300))
    shares = (np.arange(tail) + 0.5) / tail
    bent = -scale * np.log1p(-shares) if abs(shape) < 1e-9 else scale * np.expm1(-shape * np.log1p(-shares)) / shape
    weights[order[-tail:]] = np.minimum(cut + bent, 1.0)
    return weights / weights.sum(), float(shape)


def _generalised_pareto(over: Floats) -> tuple[float, float]:
    """Return shape k and scale of a generalised Pareto distribution fitted to sorted excesses (n,).

    Zhang and Stephens, Technometrics 51 (2009): the posterior mean of θ = −k/scale over a grid.
    """
    count = over.size
    guesses = 30 + int(np.sqrt(count))
    quarter = over[max(int(count / 4 + 0.5) - 1, 0)]
    theta = 1 / over[-1] + (1 - np.sqrt(guesses / (np.arange(1, guesses + 1) - 0.5))) / (3 * quarter)
    k = np.log1p(-theta[:, None] * over).mean(axis=1)
    height = count * (np.log(-theta / k) - k - 1)
    weight = 1 / np.exp(height - height[:, None]).sum(axis=1)
    best = float((theta * weight).sum() / weight.sum())
    shape = float(np.log1p(-best * over).mean())
    # A weak prior towards 1/2, worth ten draws, stabilises fits to few points (Vehtari et al.).
    return (shape * count + 0.5 * 10) / (count + 10), -shape / best


LogDensity = Callable[[Floats], Floats]
"""ln density up to a constant (points,) at points (points, p)."""

FREEDOM = 6.0
"""Degrees of freedom of the proposals [-]: their tails are heavier than those of most posteriors."""
FIRST_DRAWS = 200
"""Draws of the first round."""
LATER_DRAWS = 400
"""Draws of each later round."""
ROUNDS = 18
"""Greatest number of rounds."""
ENOUGH = 1000.0
"""Effective sample size to reach: it gives the ends of a 95 % interval to about a tenth of a standard deviation."""
FEWEST = 400.0
"""Effective sample size below which intervals are unreliable."""
CONFIRMED = 4.0
"""Standard errors by which the means of a round may differ from those of the rounds before it [-]."""
WIDER = 1.25
"""Factor on the covariance for the scale of a proposal [-], which should be wider than its target."""
WIDE = 4.0
"""The same for the wide proposal, which covers the tails [-]."""
LOCAL_PROPOSALS = 8
"""Local proposals of a round, for curved or truncated densities."""
LOCAL = 0.35
"""Factor on the covariance for the scale of a local proposal [-]."""
LEAST_PER_PARAMETER = 12
"""Effective draws per parameter to which tempering raises the sample that proposals are adapted to [-]."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A multivariate Student's t distribution, one component of a mixture.

    centre: (p,)
    root: Cholesky factor of its scale matrix, lower triangular (p, p)
    share: probability of the component [-]
    """

    centre: Floats
    root: Floats
    share: float

    def draw(self, rng: np.random.Generator, count: int) -> Floats:
        """Return draws (count, p)."""
        normal = rng.normal(size=(count, self.centre.size)) @ self.root.T
        stretch = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, size=(count, 1)))
        return np.asarray(self.centre + normal * stretch)

    def log_density(self, place: Floats) -> Floats:
        """Return ln(share × density) (points,) at points (points, p), up to what all proposals of p values share."""
        apart = np.linalg.solve(self.root, (place - self.centre).T)
        determinant = float(np.log(np.diagonal(self.root)).sum())
        tail = (FREEDOM + self.centre.size) / 2 * np.log1p((apart**2).sum(axis=0) / FREEDOM)
        return np.asarray(log(self.share) - determinant - tail)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightedDraws:
    """Weighted draws.

    place: (draws, p)
    weights: (draws,), which sum to 1
    tail: Pareto shape k of the weights [-]
    effective: effective sample size, 1/Σw²
    confirmed: whether the means of the last round agreed with those of the rounds before it
    """

    place: Floats
    weights: Floats
    tail: float
    effective: float
    confirmed: bool = False

    @property
    def trusted(self) -> bool:
        """Whether the weights are reliable."""
        return self.confirmed and self.tail < threshold(self.weights.size) and self.effective >= FEWEST


def proposal(centre: Floats, covariance: Floats, share: float) -> Proposal:
    """Return a proposal with the scale matrix `covariance` (p, p), whose eigenvalues are kept above rounding errors."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    fixed = (vectors * np.maximum(values, 1e-12 * max(values.max(), 1e-12))) @ vectors.T
    return Proposal(centre, np.linalg.cholesky(fixed), share)


def sample(
    target: LogDensity,
    modes: Sequence[tuple[Floats, Floats, float]],
    rng: np.random.Generator,
    *,
    rounds: int = ROUNDS,
    enough: float = ENOUGH,
) -> WeightedDraws:
    """Return weighted draws from the density exp(`target`).

    Parameters
    ----------
    target : callable
        ln density up to a constant, (points,) at points (points, p).
    modes : sequence of (ndarray, ndarray, float)
        Location (p,), covariance (p, p) and share of each mode of the first proposal.
    rng : Generator
    rounds : int
        Greatest number of rounds.
    enough : float
        Effective sample size at which sampling ends.

    Raises
    ------
    ValueError
        Where `rounds` is 0.
    """
    mixtures = [[proposal(place, WIDER * spread, share) for place, spread, share in modes]]
    places: list[Floats] = []
    heights: list[Floats] = []
    counts: list[int] = []
    found = None
    for number in range(rounds):
        count = FIRST_DRAWS if number == 0 else LATER_DRAWS
        split = rng.multinomial(count, [one.share for one in mixtures[-1]])
        fresh = np.concatenate([one.draw(rng, n) for one, n in zip(mixtures[-1], split, strict=True)])
        height = target(fresh)
        agrees = found is not None and _agrees(found, fresh, height, mixtures[-1])
        places.append(fresh)
        heights.append(height)
        counts.append(count)
        found = replace(
            _weigh(np.concatenate(places), np.concatenate(heights), mixtures, counts), confirmed=agrees
        )  # fmt: skip
        if found.trusted and found.effective >= enough:
            break
        mixtures.append(_adapted(found, mixtures[0], rng))
    if found is None:
        raise ValueError("at least one round of draws is needed")
    return found


def _agrees(before: WeightedDraws, place: Floats, height: Floats, mixture: Sequence[Proposal]) -> bool:
    """Whether the means of a fresh round, weighted by its own proposal only, agree with those of the earlier draws."""
    alone = _weigh(place, height, [mixture], [len(place)])
    mean, spread = moments(before.place, before.weights)
    there, _ = moments(alone.place, alone.weights)
    # The standard error accounts for few effective draws.
    error = np.sqrt(np.maximum(np.diagonal(spread), 1e-300) * (1 / alone.effective + 1 / before.effective))
    return bool((np.abs(there - mean) < CONFIRMED * error).all())


def _weigh(
    place: Floats, height: Floats, mixtures: Sequence[Sequence[Proposal]], counts: Sequence[int]
) -> WeightedDraws:
    """Return draws weighted against the mixture of all rounds; height: ln density (draws,), counts: draws by round."""
    parts = [
        np.log(count / sum(counts)) + one.log_density(place)
        for mixture, count in zip(mixtures, counts, strict=True)
        for one in mixture
    ]
    logs = height - np.logaddexp.reduce(parts, axis=0)
    weights, tail = smooth(np.where(np.isfinite(logs), logs, -np.inf))
    return WeightedDraws(place=place, weights=weights, tail=tail, effective=float(1 / (weights**2).sum()))


def _adapted(found: WeightedDraws, first: Sequence[Proposal], rng: np.random.Generator) -> list[Proposal]:
    """Return a mixture of a proposal with the draws' covariance, a wide one, local ones, and the first mixture."""
    weights = _tempered(found)
    mean, spread = moments(found.place, weights)
    # Few effective draws determine their covariance poorly, so it is blended with that of the first proposal.
    even = float(1 / (weights**2).sum())
    trust = even / (even + mean.size)
    start = max(first, key=lambda one: one.share)
    blend = trust * spread + (1 - trust) * (start.root @ start.root.T)
    pieces = rng.choice(weights.size, LOCAL_PROPOSALS, p=weights)
    return [
        proposal(mean, WIDER * blend, 0.35),
        proposal(mean, WIDE * blend, 0.15),
        *(proposal(found.place[row], LOCAL * blend, 0.3 / LOCAL_PROPOSALS) for row in pieces),
        *(Proposal(one.centre, one.root, 0.2 * one.share) for one in first),
    ]


def _tempered(found: WeightedDraws) -> Floats:
    """Return tempered weights: raised to the greatest power up to 1 at which the effective sample size is enough.

    Otherwise a few heavy draws would make the next proposals too narrow.
    """
    enough = min(LEAST_PER_PARAMETER * found.place.shape[1], found.weights.size / 4)
    logs = np.log(np.maximum(found.weights, 1e-300))
    weights = found.weights
    for power in np.linspace(1.0, 0.05, 20):
        weights = np.exp(power * logs)
        weights = weights / weights.sum()
        if 1 / (weights**2).sum() >= enough:
            break
    return weights

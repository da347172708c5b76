"""Draws from a posterior by adaptive importance sampling, with smoothed weights and coverage intervals.

Rounds of draws come from mixtures of Student's t: around the modes first, then around what the weights have shown. All
draws are weighted against the mixture of all rounds (the balance heuristic of Veach, as in Sbert, Havran and
Szirmay-Kalos, EURASIP J. Adv. Signal Process. 2018), so
none is wasted. Proposals of a round may depend on the draws of earlier ones; the little bias that this leaves falls
with their number.

Weights are smoothed, and judged by the shape of their tail (Vehtari, Simpson, Gelman, Yao and Gabry, Pareto smoothed
importance sampling, 2015, JMLR 2024); the tail is fitted as Zhang and Stephens, Technometrics 51 (2009) do; both from
memory. The tests hold it against arviz-stats, which brings more packages along than forty lines are worth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import lgamma, log, pi

import numpy as np

from stager.model.arrays import Floats


def quantile(draws: Floats, weights: Floats, shares: Floats) -> Floats:
    """Quantiles of draws (n, ...) with weights (n,) that add to 1, at `shares` (k,); shape (k, ...).

    Between draws by straight lines through the middles of their steps.
    """
    flat = draws.reshape(draws.shape[0], -1)
    out = np.empty((shares.size, flat.shape[1]))
    for column in range(flat.shape[1]):
        order = np.argsort(flat[:, column], kind="stable")
        heights = np.cumsum(weights[order]) - 0.5 * weights[order]
        out[:, column] = np.interp(shares, heights, flat[order, column])
    return out.reshape(shares.size, *draws.shape[1:])


def interval(draws: Floats, weights: Floats | None = None, coverage: float = 0.95) -> tuple[float, float]:
    """Probabilistically symmetric coverage interval (JCGM 101, 7.7) of draws (n,).

    Few draws make a narrow interval: its ends are order statistics whose expected shares beyond are the tails asked
    for, r/(n + 1) for the r-th of n, n being the number of equal draws that would tell as much.
    """
    weights = np.full(draws.shape[0], 1 / draws.shape[0]) if weights is None else weights
    tail = (1 - coverage) / 2
    tail -= (0.5 - tail) * float((weights**2).sum())
    low, high = quantile(draws, weights, np.array([tail, 1 - tail]))
    return float(low), float(high)


def moments(draws: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Mean (p,) and covariance (p, p) of weighted draws (n, p)."""
    mean = weights @ draws
    centred = draws - mean
    return mean, (centred * weights[:, None]).T @ centred


TRUSTED = 0.7


def threshold(count: int) -> float:
    """Return the tail's shape above which `count` draws are not relied on: min(1 − 1/log10 S, 0.7), Vehtari et al."""
    return min(1 - 1 / float(np.log10(max(count, 11))), TRUSTED)


def smooth(log_weights: Floats) -> tuple[Floats, float]:
    """Weights (n,) that add to 1 from their logarithms (n,), the tail's shape k; above TRUSTED do not rely on them."""
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
    shape, scale = _fit(np.maximum(over, 1e-300))
    shares = (np.arange(tail) + 0.5) / tail
    bent = -scale * np.log1p(-shares) if abs(shape) < 1e-9 else scale * np.expm1(-shape * np.log1p(-shares)) / shape
    weights[order[-tail:]] = np.minimum(cut + bent, 1.0)
    return weights / weights.sum(), float(shape)


def _fit(over: Floats) -> tuple[float, float]:
    """Shape k and scale of a generalised Pareto distribution for sorted excesses (n,)."""
    count = over.size
    guesses = 30 + int(np.sqrt(count))
    quarter = over[max(int(count / 4 + 0.5) - 1, 0)]
    theta = 1 / over[-1] + (1 - np.sqrt(guesses / (np.arange(1, guesses + 1) - 0.5))) / (3 * quarter)
    k = np.log1p(-theta[:, None] * over).mean(axis=1)
    height = count * (np.log(-theta / k) - k - 1)
    weight = 1 / np.exp(height - height[:, None]).sum(axis=1)
    best = float((theta * weight).sum() / weight.sum())
    shape = float(np.log1p(-best * over).mean())
    # A weak prior towards 1/2 keeps few points from shouting.
    return (shape * count + 0.5 * 10) / (count + 10), -shape / best


LogDensity = Callable[[Floats], Floats]
"""ln density up to a constant (lanes,) at places (lanes, p)."""

FREEDOM = 6.0
FIRST, LATER, ROUNDS = 200, 400, 18
ENOUGH = 1000.0
"""Effective draws that are aimed at: the ends of a 95 % interval are then known to about a tenth of a standard
deviation."""

FEWEST = 400.0
"""Effective draws below which intervals are not relied on."""

AGREE = 4.0
"""A confirming round agrees where no mean differs by more than so many of its standard errors."""

WIDER, FAR = 1.25, 4.0
PIECES, PIECE = 8, 0.35
TEMPERED = 12


@dataclass(frozen=True, slots=True)
class Bump:
    """A Student's t in p dimensions: centre (p,), lower triangular root of its scale (p, p), share of a mixture."""

    centre: Floats
    root: Floats
    share: float

    def draw(self, rng: np.random.Generator, count: int) -> Floats:
        """Draws (count, p)."""
        normal = rng.normal(size=(count, self.centre.size)) @ self.root.T
        stretch = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, size=(count, 1)))
        return np.asarray(self.centre + normal * stretch)

    def log_density(self, place: Floats) -> Floats:
        """ln density times share (lanes,) at places (lanes, p)."""
        size = self.centre.size
        apart = np.linalg.solve(self.root, (place - self.centre).T)
        constant = lgamma((FREEDOM + size) / 2) - lgamma(FREEDOM / 2) - size / 2 * log(FREEDOM * pi)
        determinant = float(np.log(np.diagonal(self.root)).sum())
        tail = (FREEDOM + size) / 2 * np.log1p((apart**2).sum(axis=0) / FREEDOM)
        return np.asarray(log(self.share) + constant - determinant - tail)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """place (draws, p) with weights (draws,) that add to 1; tail: Pareto shape of the weights;
    effective: number of equal draws that would tell as much; confirmed: a fresh round agreed with those before it."""

    place: Floats
    weights: Floats
    tail: float
    effective: float
    confirmed: bool = False

    @property
    def trusted(self) -> bool:
        """Whether the weights are even enough to rely on."""
        return self.confirmed and self.tail < threshold(self.weights.size) and self.effective >= FEWEST

    def resample(self, rng: np.random.Generator, count: int) -> Floats:
        """Rows (count,) of equal weight, by systematic resampling."""
        heights = np.cumsum(self.weights)
        rows = np.searchsorted(heights, (rng.random() + np.arange(count)) / count)
        return np.asarray(np.minimum(rows, self.weights.size - 1))


def bump(centre: Floats, covariance: Floats, share: float) -> Bump:
    """A bump whose scale is `covariance` (p, p), made positive definite where rounding has spoilt it."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    fixed = (vectors * np.maximum(values, 1e-12 * max(values.max(), 1e-12))) @ vectors.T
    return Bump(centre, np.linalg.cholesky(fixed), share)


def sample(
    target: LogDensity,
    modes: Sequence[tuple[Floats, Floats, float]],
    rng: np.random.Generator,
    *,
    rounds: int = ROUNDS,
    enough: float = ENOUGH,
) -> Draws:
    """Draws from `target`; modes: places (p,), covariances (p, p) and shares of its hills."""
    mixtures = [[bump(place, WIDER * spread, share) for place, spread, share in modes]]
    places: list[Floats] = []
    heights: list[Floats] = []
    counts: list[int] = []
    found = None
    for number in range(rounds):
        count = FIRST if number == 0 else LATER
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


def _agrees(before: Draws, place: Floats, height: Floats, mixture: Sequence[Bump]) -> bool:
    """Return whether a fresh round, weighed by its own proposal alone, has the means of the draws before it."""
    alone = _weigh(place, height, [mixture], [len(place)])
    mean, spread = moments(before.place, before.weights)
    there, _ = moments(alone.place, alone.weights)
    # Of a round with few effective draws a large difference is no wonder.
    error = np.sqrt(np.maximum(np.diagonal(spread), 1e-300) * (1 / alone.effective + 1 / before.effective))
    return bool((np.abs(there - mean) < AGREE * error).all())


def _weigh(place: Floats, height: Floats, mixtures: Sequence[Sequence[Bump]], counts: Sequence[int]) -> Draws:
    parts = [
        np.log(count / sum(counts)) + one.log_density(place)
        for mixture, count in zip(mixtures, counts, strict=True)
        for one in mixture
    ]
    logs = height - np.logaddexp.reduce(parts, axis=0)
    weights, tail = smooth(np.where(np.isfinite(logs), logs, -np.inf))
    return Draws(place=place, weights=weights, tail=tail, effective=float(1 / (weights**2).sum()))


def _adapted(found: Draws, first: Sequence[Bump], rng: np.random.Generator) -> list[Bump]:
    """What the weights show, as a whole, far around, and piece by piece where the hill is bent or cut off; beside the
    first guess."""
    weights = _tempered(found)
    mean, spread = moments(found.place, weights)
    # Few effective draws make a thin covariance: hold on to the first guess.
    even = float(1 / (weights**2).sum())
    trust = even / (even + mean.size)
    start = max(first, key=lambda one: one.share)
    blend = trust * spread + (1 - trust) * (start.root @ start.root.T)
    pieces = rng.choice(weights.size, PIECES, p=weights)
    return [
        bump(mean, WIDER * blend, 0.35),
        bump(mean, FAR * blend, 0.15),
        *(bump(found.place[row], PIECE * blend, 0.3 / PIECES) for row in pieces),
        *(Bump(one.centre, one.root, 0.2 * one.share) for one in first),
    ]


def _tempered(found: Draws) -> Floats:
    """The weights, raised to a power below 1 while too few draws carry them, so that proposals widen before they
    narrow."""
    enough = min(TEMPERED * found.place.shape[1], found.weights.size / 4)
    logs = np.log(np.maximum(found.weights, 1e-300))
    weights = found.weights
    for power in np.linspace(1.0, 0.05, 20):
        weights = np.exp(power * logs)
        weights = weights / weights.sum()
        if 1 / (weights**2).sum() >= enough:
            break
    return weights

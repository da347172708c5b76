"""Find the best fit of one friction law, from several starts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.likelihood import SLOWEST, ForwardModel, Noise, Outcome, Residuals, UnevenNoise, forward_model
from stager.fit.priors import DRIFT, FRICTION, CandidateLaw, Normal, Prior, bend, of, values, with_friction
from stager.fit.statistics.hypothesis_tests import aicc
from stager.fit.statistics.least_squares import LeastSquares, Minimum, minimise
from stager.fit.table.throws import Throws, moments
from stager.model.arrays import Floats
from stager.model.launcher import Scenario

STEP = 0.1
"""Step of the difference quotients, in y [-]."""
RANDOM_STARTS = 24
"""Random draws from the priors among which starts are chosen."""
STARTS = 3
"""Greatest number of starts, besides the given one."""
PATIENCE = 8
"""Generations without progress after which draws evolve no further, where throws jam."""
PROGRESS = 0.5
"""Fall of the least objective that counts as progress [-]."""
GENERATIONS = 60
"""Greatest number of generations."""
LEADING = 5
"""Draws for each of their leaders, towards which the others move [-]."""
WEIGHTS = (0.3, 0.9)
"""Least and greatest weight of a difference [-]."""
CROSSED = 0.8
"""Share of the parameters that change [-]; one of each draw does in any case."""
LEAST_EFFECT = 2e-4
"""Change of a residual by one standard deviation of a prior up to which a parameter has no effect [-]."""

DRIFT_PRIOR = Normal(DRIFT, 0.0, 0.2)
"""Prior of the change of ln friction over a session [-]; an assumption."""

LEAST_FOR_DRIFT = 8
"""Throws that a fit of a drift needs."""

FRICTION_STEP = 0.05
"""Change of ln friction for the slope of exit speed [-]."""
HIDDEN_SHARE = 0.25
"""Uncertainty of a drift over that of its prior, above which a drift is fitted [-], as the throws cannot exclude it."""
SHOWN_RATIO = 1.5
"""Drift over its uncertainty, above which a drift is fitted [-]."""

MASS_STEP = 0.02
"""Change of ln mass for the slope of exit speed [-]."""
LEAST_MASS_EFFECT = 0.05
"""Greatest d ln(exit speed) / d ln(mass) of a session below which no throw shows that masses differ [-]."""
EVEN_CHANCE = 0.1
"""Probability that throws scatter alike, below which their scatter is fitted as uneven [-]."""

TOLERANCE = 0.03
"""Predicted decrease of the loss at which a start has converged [-]."""
ITERATIONS = 15
"""Greatest number of iterations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BestFit:
    """Best fit of a friction law.

    law, model, noise, problem: what was fitted
    priors: of the parameters that the throws depend on, p
    idle: priors of the other parameters
    minimum: minima from all starts
    count: number of throws that did not jam, n
    """

    law: CandidateLaw
    model: ForwardModel
    noise: Noise | UnevenNoise
    problem: LeastSquares
    priors: tuple[Prior, ...]
    idle: tuple[Prior, ...]
    minimum: Minimum
    count: int

    @property
    def place(self) -> Floats:
        """y at the best fit, (p,)."""
        return np.asarray(self.minimum.place[self.minimum.best])

    @property
    def normal(self) -> Floats:
        """z at the best fit, (p,)."""
        return bend(self.priors)(self.place)[0]

    @property
    def residuals(self) -> Floats:
        """ln measured − ln model at the best fit [-], (n,); without jams."""
        return np.asarray(self.minimum.residuals[self.minimum.best][: self.count])

    @property
    def jams_let_through(self) -> NDArray[np.bool_]:
        """Whether the model lets through each of the throws that jammed, (jams,)."""
        return np.asarray(self.minimum.residuals[self.minimum.best][self.count :] > 0)

    @property
    def jacobian(self) -> Floats:
        """Jacobian of the residuals by y at the best fit [-], (n, p)."""
        return np.asarray(self.minimum.jacobian[self.minimum.best][: self.count])

    @property
    def curvature(self) -> Floats:
        """Curvature of the objective by y at the best fit, JᵀWJ plus that of the priors, (p, p)."""
        return np.asarray(self.minimum.curvature[self.minimum.best])

    @property
    def spent(self) -> float:
        """Effective number of parameters that the data determine: trace of (curvature⁻¹ · JᵀWJ)."""
        if not self.priors:
            return 0.0
        slope = bend(self.priors)(self.place)[1]
        return float(len(self.priors) - (np.diagonal(np.linalg.inv(self.curvature)) * slope**2).sum())

    @property
    def aicc(self) -> float:
        """AICc of the law for these throws; the size of the scatter counts as a parameter."""
        loss = float(self.minimum.objective[self.minimum.best] - 0.5 * (self.normal**2).sum())
        return aicc(loss, self.spent + 1, self.residuals.size)

    @property
    def evidence(self) -> float:
        """Log marginal likelihood of the throws under this law and its priors, to a constant, by Laplace's method."""
        objective = float(self.minimum.objective[self.minimum.best])
        bending = float(np.log(bend(self.priors)(self.place)[1]).sum())
        return bending - objective - 0.5 * float(np.linalg.slogdet(self.curvature)[1])

    @property
    def scatter(self) -> float:
        """Standard deviation of one throw about the fit, relative [-]."""
        return self.noise.scatter(self.residuals, self.spent)

    @property
    def deviations(self) -> Floats:
        """Standard deviation of each throw about the fit, relative [-], (n,); `scatter` is their root mean square."""
        size = self.noise.relative(self.residuals)
        return np.asarray(self.scatter * size / np.sqrt(np.mean(size**2)))

    @property
    def standardised(self) -> Floats:
        """Residuals over the scatter of their throw relative to that of a typical one [-], (n,)."""
        return self.residuals / self.noise.relative(self.residuals)

    @property
    def outlier_probability(self) -> Floats:
        """Probability of each throw of being an outlier, (n,)."""
        return self.noise.outlier_probability(self.residuals)

    @property
    def values(self) -> dict[str, Floats]:
        """SI values of the parameters at the best fit, by key."""
        return values(self.priors, self.normal)

    def modes(self) -> list[tuple[Floats, Floats, float]]:
        """Return the distinct modes of the posterior: y (p,), covariance (p, p) and share of each."""
        found: list[tuple[Floats, Floats, float]] = []
        minimum = self.minimum
        least = float(minimum.objective.min())
        for lane in np.argsort(minimum.objective):
            drop = float(minimum.objective[lane]) - least
            apart = [
                float((minimum.place[lane] - place) @ np.linalg.solve(spread, minimum.place[lane] - place))
                for place, spread, _ in found
            ]
            if drop < 6.0 and all(far > len(self.priors) for far in apart):
                found.append((minimum.place[lane], np.linalg.inv(minimum.curvature[lane]), float(np.exp(-drop))))
        total = sum(share for _, _, share in found)
        return [(place, spread, share / total) for place, spread, share in found]


def best_fit(
    scenario: Scenario,
    law: CandidateLaw,
    throws: Throws,
    noise: Noise | UnevenNoise,
    rng: np.random.Generator,
    *,
    near: dict[str, float] | None = None,
    jams: int = 0,
    session: bool = False,
) -> BestFit:
    """Fit `law` to `throws`.

    Parameters
    ----------
    scenario : Scenario
    law : CandidateLaw
    throws : Throws
        The jammed ones last.
    noise : Noise
    rng : Generator
        For random starts.
    near : dict, optional
        y by key of a start, besides the centres of the priors.
    jams : int
        Number of throws that jammed.
    session : bool
        Fit a drift of friction too, where the throws show one or cannot exclude it. The other parameters are then those
        at the last throw.
    """
    found = _best_fit(scenario, law, throws, noise, rng, near or {}, jams, None)
    when = moments(throws) if session and found.count >= LEAST_FOR_DRIFT else None
    if when is None or not _may_drift(found, when[: found.count]):
        return found
    known = {prior.key: float(y) for prior, y in zip(found.priors, found.place, strict=True)}
    return _best_fit(scenario, law, throws, noise, rng, known, jams, when)


def uneven(found: BestFit) -> UnevenNoise | None:
    """Return noise that grows where the mass of the projectile matters; None where the residuals do not show it."""
    launcher = found.law.launcher(found.model.scenario, found.values)
    mass = launcher.projectile.mass * np.exp(np.array([[MASS_STEP], [-MASS_STEP]]))
    speeds = found.model.exit_speed_of(replace(launcher, projectile=replace(launcher.projectile, mass=mass)))
    speeds = speeds[:, : found.count]
    through = (speeds > 0).all(axis=0)
    logs = np.log(np.where(through, speeds, 1.0))
    effect = np.abs(logs[0] - logs[1]) / (2 * MASS_STEP)
    if effect.max() < LEAST_MASS_EFFECT:
        return None
    # Resolution of the instrument is part of the even noise.
    stated = np.ones(found.count) if isinstance(found.noise, Noise) else found.noise.relative(found.residuals)
    noise = UnevenNoise.by_mass(found.noise.even, stated, effect / effect.max())
    return noise if noise.chances(found.residuals)[0] < EVEN_CHANCE else None


def _best_fit(
    scenario: Scenario, law: CandidateLaw, throws: Throws, noise: Noise | UnevenNoise, rng: np.random.Generator,
    near: dict[str, float], jams: int, when: Floats | None,
) -> BestFit:  # fmt: skip
    """Fit `law`, with a drift of friction unless `when` is None; when: moments of the throws, (n,)."""
    where = forward_model(scenario, law, throws, when)
    priors = (*(of(item) for item in scenario.uncertain if not item.key.startswith(FRICTION)), *law.priors)
    priors = priors if when is None else (*priors, DRIFT_PRIOR)
    start = np.array([near.get(prior.key, 0.0) for prior in priors])
    measured = throws.exit_speed[: len(throws) - jams]
    loss = Outcome(noise, jams)
    misfit = Residuals(model=where, priors=priors, measured=measured)
    jamming = bool((misfit(start[None])[0, : measured.size] >= -np.log(SLOWEST) - LEAST_EFFECT).any())
    seen = _affecting(misfit, loss, start, rng.spawn(1)[0], jamming=jamming)
    active = tuple(prior for prior, there in zip(priors, seen, strict=True) if there)
    idle = tuple(prior for prior, there in zip(priors, seen, strict=True) if not there)
    problem = LeastSquares(
        residuals=Residuals(model=where, priors=active, measured=measured), loss=loss,
        step=np.full(len(active), STEP), prior=bend(active),
    )  # fmt: skip
    # With a drift the start is the best fit without.
    starts = _starts(problem, start[seen], rng, jamming=when is None and (jamming or jams > 0))
    minimum = minimise(problem, starts, iterations=ITERATIONS, tolerance=TOLERANCE, adapt=True)
    return BestFit(
        law=law, model=where, noise=noise, problem=problem, priors=active, idle=idle, minimum=minimum,
        count=measured.size,
    )  # fmt: skip


def _may_drift(found: BestFit, when: Floats) -> bool:
    """Whether a fit without a drift of friction shows one or cannot exclude it; when: moments of the throws, (n,).

    One Gauss–Newton step from that fit estimates the drift and its uncertainty.
    """
    launcher = found.law.launcher(found.model.scenario, found.values)
    factor = np.exp(np.array([[FRICTION_STEP], [-FRICTION_STEP]]))
    speeds = found.model.exit_speed_of(with_friction(launcher, launcher.contact.friction.scaled(factor)))
    speeds = speeds[:, : found.count]
    through = (speeds > 0).all(axis=0)
    logs = np.log(np.where(through, speeds, 1.0))
    slope = -when * (logs[0] - logs[1]) / (2 * FRICTION_STEP)
    weights = found.minimum.weights[found.minimum.best][: found.count]
    beside = found.jacobian.T @ (weights * slope)
    hidden = beside @ np.linalg.solve(found.curvature, beside) if found.priors else 0.0
    told = float(slope @ (weights * slope) - hidden) + DRIFT_PRIOR.spread**-2
    drift = float(slope @ (weights * found.residuals) / told)
    spread = float(told**-0.5)
    return spread > HIDDEN_SHARE * DRIFT_PRIOR.spread or abs(drift) > SHOWN_RATIO * spread


def _affecting(
    misfit: Residuals, loss: Outcome, start: Floats, rng: np.random.Generator, *, jamming: bool
) -> NDArray[np.bool_]:
    """Return which parameters change any residual by more than LEAST_EFFECT within one standard deviation, (p,).

    They are looked at from the start. Where throws jam there that did not (`jamming`), most parameters seem to have no
    effect, so they are looked at from the best of random draws too.
    """
    size, seen = start.size, np.zeros(start.size, bool)
    moves = np.concatenate([np.zeros((1, size)), np.eye(size), -np.eye(size)])
    places = [start]
    if size and jamming:
        tried = rng.normal(size=(RANDOM_STARTS, size))
        places.append(tried[np.argmin(loss.value(misfit(tried)))])
    for place in places if size else []:
        found = misfit(place + moves)
        seen |= np.abs(found[1:] - found[0]).max(axis=1).reshape(2, -1).max(axis=0) > LEAST_EFFECT
    return seen


def _starts(problem: LeastSquares, start: Floats, rng: np.random.Generator, *, jamming: bool) -> Floats:
    """Return the given start, the centres of the priors, and the best of random draws; (starts, p).

    Where a parameter decides whether a throw jams, the objective jumps and its slope does not show where to, so that a
    minimum from any of the draws may be far from the best. There the draws evolve first.
    """
    if start.size == 0:
        return start[None]
    tried = rng.normal(size=(RANDOM_STARTS, start.size))
    value = -problem.objective(tried)
    best, own = [float(value.max())], rng.spawn(1)[0]
    while jamming and len(best) <= GENERATIONS and (len(best) <= PATIENCE or best[-1] > best[-1 - PATIENCE] + PROGRESS):
        fresh = _offspring(tried, value, own)
        found = -problem.objective(fresh)
        better = found > value
        tried, value = np.where(better[:, None], fresh, tried), np.where(better, found, value)
        best.append(float(value.max()))
    order = np.argsort(-value, kind="stable")
    given = [start] if not start.any() else [start, np.zeros_like(start)]
    return np.vstack([*given, tried[order[: STARTS - 1]]])


def _offspring(members: Floats, value: Floats, rng: np.random.Generator) -> Floats:
    """Return what to try in place of each draw, (draws, p), by differential evolution (Storn and Price 1997).

    value : of each draw, the greater the better, (draws,).
    """
    size, variables = members.shape
    leaders = np.argsort(-value, kind="stable")[: max(size // LEADING, 2)]
    first, second = (rng.integers(size, size=size) for _ in range(2))
    toward = rng.choice(leaders, size)
    weight = rng.uniform(*WEIGHTS, (size, 1))
    mutant = members + weight * (members[toward] - members) + weight * (members[first] - members[second])
    crossed = rng.random(members.shape) < CROSSED
    crossed[np.arange(size), rng.integers(variables, size=size)] = True
    return np.where(crossed, mutant, members)

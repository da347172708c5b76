"""The best fit of one friction law, from several starts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.friction_laws import DRIFT, FRICTION, Law, with_friction
from stager.fit.likelihood import ForwardModel, Noise, Outcome, Residuals, forward_model
from stager.fit.priors import Normal, Prior, bend, of, values
from stager.fit.statistics.hypothesis_tests import aicc
from stager.fit.statistics.least_squares import Minimum, Problem, minimise
from stager.fit.table.throws import Throws, moments
from stager.model.arrays import Floats
from stager.model.scenario import Scenario

STEP = 0.1
TRIED, KEPT = 24, 3
UNSEEN = 2e-4
"""A parameter that moves no residual by more than this within its prior plays no part."""

DRIFTS = Normal(DRIFT, 0.0, 0.2)
"""Drift of friction that is expected over a session; an assumption."""

DATED = 8
"""Fewest throws that a drift is learned from."""

NUDGE, HIDES, SHOWS = 0.05, 0.25, 1.5
"""Change of ln friction for a slope; a drift is fitted where its uncertainty would be more than this share of what was
expected, or where it is larger than so many of its uncertainties."""

CLOSE = 0.03
ITERATIONS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class BestFit:
    """Best fit of a law.

    priors: of the parameters that the throws depend on; idle: of those they do not;
    count: throws that left at some speed; minimum: all starts; modes: lanes of it that are hills of their own.
    """

    law: Law
    model: ForwardModel
    noise: Noise
    problem: Problem
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
    def jacobian(self) -> Floats:
        """Its slopes [-], (n, p)."""
        return np.asarray(self.minimum.jacobian[self.minimum.best][: self.count])

    @property
    def curvature(self) -> Floats:
        """JᵀWJ + the priors' there, (p, p)."""
        return np.asarray(self.minimum.curvature[self.minimum.best])

    @property
    def spent(self) -> float:
        """Effective number of parameters that the data have fixed: trace of (curvature⁻¹ · JᵀWJ)."""
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
        """ln of the throws' probability under this law and its priors (Laplace's method): a law that needs luck or wide
        priors to fit has less."""
        objective = float(self.minimum.objective[self.minimum.best])
        bending = float(np.log(bend(self.priors)(self.place)[1]).sum())
        return bending - objective - 0.5 * float(np.linalg.slogdet(self.curvature)[1])

    @property
    def scatter(self) -> float:
        """Standard deviation of one throw about the fit, relative [-]."""
        return self.noise.scatter(self.residuals, self.spent)

    @property
    def outlier_probability(self) -> Floats:
        """Probability of each throw to be an outlier, (n,)."""
        return self.noise.outlier_probability(self.residuals)

    @property
    def values(self) -> dict[str, Floats]:
        """SI values of the parameters at the best fit, by key."""
        return values(self.priors, self.normal)

    def modes(self) -> list[tuple[Floats, Floats, float]]:
        """Hills of the posterior: place, covariance and share of each."""
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
    law: Law,
    throws: Throws,
    noise: Noise,
    rng: np.random.Generator,
    *,
    near: dict[str, float] | None = None,
    jams: int = 0,
    session: bool = False,
) -> BestFit:
    """Fit `law` to `throws`, of which the last `jams` jammed.

    near: y by key to start from, beside the priors' middle; session: where friction seems to drift from throw to throw,
    or the throws cannot tell, a drift is fitted too, and all else is of the last throw.
    """
    found = _best_fit(scenario, law, throws, noise, rng, near or {}, jams, None)
    when = moments(throws) if session and found.count >= DATED else None
    if when is None or not _may_drift(found, when[: found.count]):
        return found
    known = {prior.key: float(y) for prior, y in zip(found.priors, found.place, strict=True)}
    return _best_fit(scenario, law, throws, noise, rng, known, jams, when)


def _best_fit(
    scenario: Scenario, law: Law, throws: Throws, noise: Noise, rng: np.random.Generator, near: dict[str, float],
    jams: int, when: Floats | None,
) -> BestFit:  # fmt: skip
    """Fit with a drift of friction where it is known `when` each throw was made."""
    where = forward_model(scenario, law, throws, when)
    priors = (*(of(item) for item in scenario.uncertain if not item.key.startswith(FRICTION)), *law.priors)
    priors = priors if when is None else (*priors, DRIFTS)
    start = np.array([near.get(prior.key, 0.0) for prior in priors])
    measured = throws.exit_speed[: len(throws) - jams]
    seen = _seen(Residuals(model=where, priors=priors, measured=measured), start)
    active = tuple(prior for prior, there in zip(priors, seen, strict=True) if there)
    idle = tuple(prior for prior, there in zip(priors, seen, strict=True) if not there)
    problem = Problem(
        residuals=Residuals(model=where, priors=active, measured=measured), loss=Outcome(noise, jams),
        step=np.full(len(active), STEP), prior=bend(active),
    )  # fmt: skip
    starts = _starts(problem, start[seen], rng)
    minimum = minimise(problem, starts, iterations=ITERATIONS, tolerance=CLOSE, adapt=True)
    return BestFit(
        law=law, model=where, noise=noise, problem=problem, priors=active, idle=idle, minimum=minimum,
        count=measured.size,
    )  # fmt: skip


def _may_drift(found: BestFit, when: Floats) -> bool:
    """Return whether a drift of friction shows beside a fit without one, or could hide in it; when: (n,), moments."""
    launcher = found.law.launcher(found.model.scenario, found.values)
    factor = np.exp(np.array([[NUDGE], [-NUDGE]]))
    speeds = found.model.exit_speed_of(with_friction(launcher, launcher.contact.friction.scaled(factor)))
    speeds = speeds[:, : found.count]
    through = (speeds > 0).all(axis=0)
    logs = np.log(np.where(through, speeds, 1.0))
    slope = -when * (logs[0] - logs[1]) / (2 * NUDGE)
    weights = found.minimum.weights[found.minimum.best][: found.count]
    beside = found.jacobian.T @ (weights * slope)
    hidden = beside @ np.linalg.solve(found.curvature, beside) if found.priors else 0.0
    told = float(slope @ (weights * slope) - hidden) + DRIFTS.spread**-2
    drift = float(slope @ (weights * found.residuals) / told)
    spread = float(told**-0.5)
    return spread > HIDES * DRIFTS.spread or abs(drift) > SHOWS * spread


def _seen(misfit: Residuals, start: Floats) -> NDArray[np.bool_]:
    """Which parameters move any residual, one standard deviation up and down."""
    moves = np.concatenate([np.zeros((1, start.size)), np.eye(start.size), -np.eye(start.size)])
    found = misfit(start + moves)
    shift = np.abs(found[1:] - found[0]).max(axis=1).reshape(2, -1).max(axis=0) if start.size else np.zeros(0)
    return np.asarray(shift > UNSEEN)


def _starts(problem: Problem, start: Floats, rng: np.random.Generator) -> Floats:
    """The given start, the priors' middle, and the best of random draws."""
    if start.size == 0:
        return start[None]
    tried = rng.normal(size=(TRIED, start.size))
    order = np.argsort(problem.value(tried)[0])
    given = [start] if not start.any() else [start, np.zeros_like(start)]
    return np.vstack([*given, tried[order[: KEPT - 1]]])

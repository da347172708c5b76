"""The best fit of one friction law, from several starts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.calibrate.forward import Bench, Misfit, bench
from stager.calibrate.laws import FRICTION, Law
from stager.calibrate.priors import Prior, of, values
from stager.calibrate.statistics.criteria import aicc
from stager.calibrate.statistics.least import Minimum, Problem, minimise
from stager.calibrate.statistics.noise import Noise
from stager.calibrate.table.record import Throws
from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario

STEP = 0.1
TRIED, KEPT = 24, 3
UNSEEN = 2e-4
"""A parameter that moves no residual by more than this within its prior plays no part."""

CLOSE = 0.03
ITERATIONS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Best fit of a law.

    priors: of the parameters that the throws depend on; idle: of those they do not; place: z at the best fit (p,);
    minimum: all starts; modes: lanes of it that are hills of their own.
    """

    law: Law
    bench: Bench
    noise: Noise
    problem: Problem
    priors: tuple[Prior, ...]
    idle: tuple[Prior, ...]
    minimum: Minimum

    @property
    def place(self) -> Floats:
        """z at the best fit, (p,)."""
        return np.asarray(self.minimum.place[self.minimum.best])

    @property
    def residuals(self) -> Floats:
        """ln measured − ln model at the best fit [-], (n,)."""
        return np.asarray(self.minimum.residuals[self.minimum.best])

    @property
    def jacobian(self) -> Floats:
        """Its slopes [-], (n, p)."""
        return np.asarray(self.minimum.jacobian[self.minimum.best])

    @property
    def curvature(self) -> Floats:
        """JᵀWJ + 1 there, (p, p)."""
        return np.asarray(self.minimum.curvature[self.minimum.best])

    @property
    def spent(self) -> float:
        """Effective number of parameters that the data have fixed: trace of (curvature⁻¹ · JᵀWJ)."""
        if not self.priors:
            return 0.0
        return float(len(self.priors) - np.trace(np.linalg.inv(self.curvature)))

    @property
    def aicc(self) -> float:
        """AICc of the law for these throws; the size of the scatter counts as a parameter."""
        loss = float(self.minimum.objective[self.minimum.best] - 0.5 * (self.place**2).sum())
        return aicc(loss, self.spent + 1, self.residuals.size)

    @property
    def scatter(self) -> float:
        """Standard deviation of one throw about the fit, relative [-]."""
        return self.noise.scatter(self.residuals, self.spent)

    @property
    def wildness(self) -> Floats:
        """Probability of each throw to be an outlier, (n,)."""
        return self.noise.wildness(self.residuals)

    @property
    def values(self) -> dict[str, Floats]:
        """SI values of the parameters at the best fit, by key."""
        return values(self.priors, self.place)

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


def search(
    scenario: Scenario,
    law: Law,
    throws: Throws,
    noise: Noise,
    rng: np.random.Generator,
    *,
    near: dict[str, float] | None = None,
) -> Found:
    """Fit `law` to `throws`, all with an exit speed above 0.

    near: z by key to start from, beside the priors' middle.
    """
    where = bench(scenario, law, throws)
    priors = (*(of(item) for item in scenario.uncertain if not item.key.startswith(FRICTION)), *law.priors)
    start = np.array([(near or {}).get(prior.key, 0.0) for prior in priors])
    seen = _seen(Misfit(bench=where, priors=priors, measured=throws.exit_speed), start)
    active = tuple(prior for prior, there in zip(priors, seen, strict=True) if there)
    idle = tuple(prior for prior, there in zip(priors, seen, strict=True) if not there)
    problem = Problem(
        residuals=Misfit(bench=where, priors=active, measured=throws.exit_speed), loss=noise,
        precision=np.ones(len(active)), step=np.full(len(active), STEP),
    )  # fmt: skip
    starts = _starts(problem, start[seen], rng)
    minimum = minimise(problem, starts, iterations=ITERATIONS, tolerance=CLOSE, adapt=True)
    return Found(law=law, bench=where, noise=noise, problem=problem, priors=active, idle=idle, minimum=minimum)


def _seen(misfit: Misfit, start: Floats) -> NDArray[np.bool_]:
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

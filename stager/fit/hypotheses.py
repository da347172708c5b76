"""Which single change of a launcher explains that one build throws differently."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.forward_model import SLOWEST, ForwardModel, forward_model
from stager.fit.optimiser import CLOSE, ITERATIONS, STEP, BestFit
from stager.fit.perturbations import PERTURBATIONS, Perturbation
from stager.fit.priors import LogNormal, bend, values
from stager.fit.statistics.criteria import aicc
from stager.fit.statistics.least import Problem, minimise
from stager.fit.table.record import Throws
from stager.model.arrays import Floats

SPREAD = 0.4
"""A change is expected within a factor exp(±SPREAD)."""

ABOUT = 4.0
"""Explanations within this much of AICc do about equally well: odds of one in seven still."""

LEAST = 0.5
"""A perturbation that its prior's spread moves less than this many scatters cannot explain anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A change of one thing in the second build: words; factor on it with its 95 % interval [-]; aicc of throws so
    explained; gain: by how much AICc is better than with no change; wild: throws that are outliers even so."""

    words: str
    factor: float
    interval: tuple[float, float]
    aicc: float
    gain: float
    wild: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Changed:
    """Residuals of both builds with a perturbation moved in the second; y has the perturbation's factor last."""

    found: BestFit
    parts: tuple[tuple[NDArray[np.intp], ForwardModel, bool], ...]
    perturbation: Perturbation
    measured: Floats
    factor: LogNormal

    def __call__(self, y: Floats) -> Floats:
        out = np.empty((y.shape[0], self.measured.size))
        z, _ = bend(self.found.priors)(y[:, :-1])
        lanes = {key: value[:, None] for key, value in values(self.found.priors, z).items()}
        launcher = self.found.law.launcher(self.found.model.scenario, lanes)
        for rows, where, changed in self.parts:
            here = self.perturbation.change(launcher, self.factor.value(y[:, -1])[:, None]) if changed else launcher
            found = where.exit_speed_of(here)
            floor = SLOWEST * self.measured[rows]
            out[:, rows] = np.log(self.measured[rows]) - np.log(np.maximum(found, floor))
        return out


def explain(found: BestFit, throws: Throws, second: NDArray[np.bool_]) -> tuple[tuple[Hypothesis, ...], int]:
    """Explanations of what differs in the rows `second`, best first; and how many do about as well as the best."""
    launcher = found.model.scenario.launcher
    throttled = any(wheel.reading.asks_supply for wheel in throws.wheels)
    perturbations = [
        perturbation
        for perturbation in PERTURBATIONS
        if perturbation.whole and perturbation.there(launcher) and (throttled or perturbation.name != "supply")
    ]
    tried = [_explanation(found, throws, second, perturbation) for perturbation in perturbations]
    done = sorted((one for one in tried if one is not None), key=lambda one: one.aicc)
    return tuple(done), sum(one.aicc - done[0].aicc < ABOUT for one in done)


def _explanation(
    found: BestFit, throws: Throws, second: NDArray[np.bool_], perturbation: Perturbation
) -> Hypothesis | None:
    factor = LogNormal(perturbation.name, 1.0, SPREAD)
    parts = tuple(
        (np.flatnonzero(mask), forward_model(found.model.scenario, found.law, throws.chosen(mask)), changed)
        for mask, changed in ((~second, False), (second, True))
    )
    changed = _Changed(found=found, parts=parts, perturbation=perturbation, measured=throws.exit_speed, factor=factor)
    size = len(found.priors) + 1
    pull = bend((*found.priors, factor))
    problem = Problem(residuals=changed, loss=found.noise, step=np.full(size, STEP), pull=pull)
    start = np.append(found.place, 0.0)
    nudged = problem.value(np.stack([start, start + np.eye(size)[-1]]))[1]
    if np.abs(nudged[1] - nudged[0]).max() < LEAST * found.scatter:
        return None
    minimum = minimise(
        problem, np.stack([start, start + 0.3 * np.eye(size)[-1], start - 0.3 * np.eye(size)[-1]]),
        iterations=ITERATIONS, tolerance=CLOSE, adapt=True,
    )  # fmt: skip
    best = minimum.best
    place, spread = minimum.place[best], np.linalg.inv(minimum.curvature[best])
    away, slope = pull(place)
    loss = float(minimum.objective[best] - 0.5 * (away**2).sum())
    spent = float(size - (np.diagonal(spread) * slope**2).sum())
    reach = 1.96 * float(np.sqrt(spread[-1, -1]))
    score = aicc(loss, spent + 1, throws.exit_speed.size)
    return Hypothesis(
        words=perturbation.words, factor=float(factor.value(place[-1])),
        interval=(float(factor.value(place[-1] - reach)), float(factor.value(place[-1] + reach))),
        aicc=score, gain=found.aicc - score, wild=int((found.noise.outlier_probability(minimum.residuals[best]) > 0.5).sum()),
    )  # fmt: skip

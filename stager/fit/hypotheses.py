"""Which single change of a launcher explains that one build throws differently, or that a model does not fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.forward_model import SLOWEST, ForwardModel, forward_model
from stager.fit.optimiser import CLOSE, ITERATIONS, STEP, BestFit
from stager.fit.perturbations import PERTURBATIONS, Perturbation
from stager.fit.priors import LogNormal, bend, values
from stager.fit.statistics.criteria import aicc
from stager.fit.statistics.diagnostics import groups
from stager.fit.statistics.least import Problem, minimise
from stager.fit.table.record import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Outlet

SPREAD = 0.4
"""A change is expected within a factor exp(±SPREAD)."""

ABOUT = 4.0
"""Explanations within this much of AICc do about equally well: odds of one in seven still."""

UNITS = 1.5
"""Likewise where a unit may be wrong: km/h read as m/s is a factor exp(1.3)."""

GAIN = 6.0
"""An explanation of a misfit must improve AICc by this much."""

STARTS = np.array([0.0, 0.3, -0.3, -0.9, 0.9])
GROUPS = 0.05
LEAST_APART = 3
LEAST = 0.5
"""A perturbation that its prior's spread moves less than this many scatters cannot explain anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A change of one thing in some of the throws: name, words; factor on it with its 95 % interval [-]; aicc of throws
    so explained; gain: by how much AICc is better than with no change; wild: throws that are outliers even so;
    since: `order` of the first throw that is changed, where they are those from some throw on."""

    name: str
    words: str
    factor: float
    interval: tuple[float, float]
    aicc: float
    gain: float
    wild: int
    since: float | None = None


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


def causes(found: BestFit, throws: Throws, order: Floats, rng: np.random.Generator) -> tuple[Hypothesis, ...]:
    """Return single changes that would make a model fit that does not, best first.

    Parameters
    ----------
    found : BestFit
        A fit that does not describe `throws`.
    throws : Throws
        Those that were fitted, without jams.
    order : ndarray, shape (n,)
        When each was made, any unit.
    rng : Generator

    Returns
    -------
    tuple of Hypothesis
        Only those that improve AICc by more than GAIN. `name` is a perturbation's, "step" where exit speeds read
        differently from some throw on, "kinds" where some projectiles are heavier than others.
    """
    launcher = found.model.scenario.launcher
    everything = np.ones(found.count, dtype=bool)
    known = {one.name: one for one in PERTURBATIONS}
    carried = 0.02 * float(np.mean(throws.exit_speed**2)) * float(np.mean(launcher.projectile.mass)) / 2
    tried = [
        _explanation(found, throws, everything, known["chronograph"], spread=UNITS),
        _explanation(found, throws, everything, known["tachometer"], spread=UNITS),
        _explanation(found, throws, everything, known["creep"], spread=UNITS),
        _explanation(found, throws, everything, _lossy(carried), spread=UNITS),
    ]
    if known["growth"].there(launcher):
        tried.append(_explanation(found, throws, everything, known["growth"], spread=UNITS))
    later = _later(found.residuals, order)
    if later is not None:
        step = _explanation(found, throws, later, known["chronograph"], spread=UNITS)
        tried.append(None if step is None else _step(step, float(order[later].min())))
    chance, which = groups(found.residuals, rng)
    if chance < GROUPS:
        kinds = _explanation(found, throws, which > 0, known["mass"], spread=SPREAD)
        tried.append(None if kinds is None else replace(kinds, name="kinds", words="mass of some projectiles"))
    done = [one for one in tried if one is not None and one.gain > GAIN]
    return tuple(sorted(done, key=lambda one: one.aicc))


def _step(one: Hypothesis, since: float) -> Hypothesis:
    return replace(one, name="step", words="exit speed from some throw on", since=since)


def _lossy(loss: float) -> Perturbation:
    """An outlet that takes more or less than `loss` [J], whether the configuration has one or not."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        outlet = Outlet() if launcher.outlet is None else launcher.outlet
        return replace(launcher, outlet=replace(outlet, loss=outlet.loss + loss * factor))

    words = "energy that the outlet takes"
    return Perturbation(name="outlet", words=words, change=change, there=lambda launcher: True, keys=())


def _later(residuals: Floats, order: Floats) -> NDArray[np.bool_] | None:
    """Return which throws came after the one where residuals change most; None where too few lie on either side."""
    ranks = np.argsort(np.argsort(order, kind="stable"), kind="stable")
    ordered = residuals[np.argsort(order, kind="stable")]
    sizes = np.arange(1, residuals.size)
    sums = np.cumsum(ordered - ordered.mean())[:-1]
    gain = sums**2 * residuals.size / (sizes * (residuals.size - sizes))
    inside = (sizes >= LEAST_APART) & (residuals.size - sizes >= LEAST_APART)
    if not inside.any():
        return None
    return np.asarray(ranks > int(np.argmax(np.where(inside, gain, -1.0))))


def _explanation(
    found: BestFit, throws: Throws, second: NDArray[np.bool_], perturbation: Perturbation, *, spread: float = SPREAD
) -> Hypothesis | None:
    factor = LogNormal(perturbation.name, 1.0, spread)
    parts = tuple(
        (np.flatnonzero(mask), forward_model(found.model.scenario, found.law, throws.chosen(mask)), changed)
        for mask, changed in ((~second, False), (second, True))
        if mask.any()
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
        problem, start + STARTS[:, None] * np.eye(size)[-1],
        iterations=ITERATIONS, tolerance=CLOSE, adapt=True,
    )  # fmt: skip
    best = minimum.best
    place, covariance = minimum.place[best], np.linalg.inv(minimum.curvature[best])
    away, slope = pull(place)
    loss = float(minimum.objective[best] - 0.5 * (away**2).sum())
    spent = float(size - (np.diagonal(covariance) * slope**2).sum())
    reach = 1.96 * float(np.sqrt(covariance[-1, -1]))
    score = aicc(loss, spent + 1, throws.exit_speed.size)
    return Hypothesis(
        name=perturbation.name, words=perturbation.words, factor=float(factor.value(place[-1])),
        interval=(float(factor.value(place[-1] - reach)), float(factor.value(place[-1] + reach))),
        aicc=score, gain=found.aicc - score,
        wild=int((found.noise.outlier_probability(minimum.residuals[best]) > 0.5).sum()),
    )  # fmt: skip

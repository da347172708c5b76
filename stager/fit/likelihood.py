"""Likelihood of measured throws: what the model says they should have been, and scatter with outliers of unknown size.

A residual is normal with standard deviation σ, or, with probability w, an outlier: Student's t with two degrees of
freedom, WILD times as wide. σ and w are not known: the loss is −ln of the likelihood averaged over both, so whatever
is fitted or drawn with it carries their uncertainty too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.friction_laws import DRIFT, Law, with_friction
from stager.fit.priors import Prior, bend, values
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.batch import take
from stager.physics.chain import QUICK, Options, throw
from stager.physics.muzzle import indicated_speed, outlet_speed

WILD = 5.0
SHARES = np.array([0.003, 0.03, 0.1, 0.25])
SHARE_WEIGHTS = np.array([0.45, 0.3, 0.2, 0.05])
CHUNK = 400_000

LARGEST = 50.0
"""No scatter is larger: residuals are differences of logarithms of speeds."""

BELOW = 3.0
"""How far below the instrument's resolution, in ln σ, scatter is looked for."""

COARSE = 0.4
"""Step of ln σ at which the hills of its posterior are looked for."""

FINE = 1.1
"""Step of ln σ for the integral, in standard deviations of a hill, 1/√(2n) each."""

NEGLIGIBLE = 9.0
"""ln of the density, below the top, from which σ is left out."""


SOME_SHARES = slice(1, None, 2)
"""Shares of outliers that are enough to find the hills."""

NORMAL, STUDENT = 0.3989422804014327, 0.35355339059327373
"""Densities in their middle of the normal distribution and of Student's t with two degrees of freedom."""

TOGETHER = 8
"""Densities that are multiplied before a logarithm is taken; none is below 1e-30."""


def _parts(rows: NDArray[np.intp], size: int) -> list[NDArray[np.intp]]:
    """Return `rows`, of which each takes `size` numbers, in parts that memory holds easily."""
    return np.array_split(rows, max(1, -(-rows.size * size // CHUNK)))


def _log_product(densities: Floats) -> Floats:
    """Return the logarithm of the product over the first axis."""
    total = np.zeros(densities.shape[1:])
    for first in range(0, len(densities), TOGETHER):
        total += np.log(densities[first : first + TOGETHER].prod(axis=0))
    return total


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatters:
    """Possible scatters σ and shares w of outliers, on a grid for each lane.

    height: ln density of σ and w, (w, lanes, σ); step of ln σ, (lanes,); sigma, (lanes, σ); densities of the residuals
    in units of σ if they are normal or wild, (n, lanes, σ).
    """

    height: Floats
    step: Floats
    sigma: Floats
    normal: Floats
    wild: Floats

    @property
    def evidence(self) -> Floats:
        """ln of the density of the residuals, (lanes,)."""
        top = self.height.max(axis=(0, 2))
        return np.asarray(
            np.log(np.exp(self.height - top[:, None]).sum(axis=(0, 2))) + top + np.log(self.step * NORMAL)
        )  # fmt: skip

    @property
    def posterior(self) -> Floats:
        """Probability of each σ and w, (w, lanes, σ)."""
        mass = np.exp(self.height - self.height.max(axis=(0, 2))[:, None])
        return np.asarray(mass / mass.sum(axis=(0, 2))[:, None])

    @property
    def _normal_and_wild(self) -> tuple[Floats, Floats]:
        """Probability of each σ together with a residual's being normal, or wild, both (n, lanes, σ)."""
        normal, wild = np.zeros_like(self.normal), np.zeros_like(self.wild)
        for share, chance in zip(SHARES, self.posterior, strict=True):
            ratio = chance / ((1 - share) * self.normal + share * self.wild)
            normal += (1 - share) * ratio
            wild += share * ratio
        return normal * self.normal, wild * self.wild

    @property
    def outlier_probability(self) -> Floats:
        """Probability of each residual of the first lane to be an outlier, (n,)."""
        return np.asarray(self._normal_and_wild[1][:, 0].sum(axis=-1))

    def weights(self, residuals: Floats) -> Floats:
        """Slope of −ln density by residuals (lanes, n), by these, (lanes, n)."""
        normal, wild = self._normal_and_wild
        variance = self.sigma**2
        outside = 3.0 / (2.0 * WILD**2 * variance + (residuals**2).T[:, :, None])
        return np.asarray((normal / variance + wild * outside).sum(axis=2).T)


@dataclass(frozen=True, slots=True)
class Noise:
    """typical: scatter that is expected before any data, in the residuals' unit; factor: within which it is known
    (one standard deviation of its logarithm); least: resolution of the instrument, added in squares."""

    typical: float = 0.015
    factor: float = 1.0
    least: float = 2e-4

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n): slope by residuals."""
        loss, weights = np.empty(residuals.shape[0]), np.empty(residuals.shape)
        for rows, steps in self._grids(residuals):
            here = self._scatters(residuals[rows], steps)
            loss[rows], weights[rows] = -here.evidence, here.weights(residuals[rows])
        return loss, weights

    def value(self, residuals: Floats) -> Floats:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), without the weights."""
        loss = np.empty(residuals.shape[0])
        for rows, steps in self._grids(residuals):
            loss[rows] = -self._scatters(residuals[rows], steps).evidence
        return loss

    def _grids(self, residuals: Floats) -> list[tuple[NDArray[np.intp], Floats]]:
        """Return lanes and their values of ln σ (lanes, points), few lanes at a time, with about as many points each.

        Each lane's points cover all of σ where its posterior has any weight: it can have two hills, with half of the
        residuals near 0.
        """
        lanes, count = residuals.shape
        coarse = np.arange(np.log(self.least) - BELOW, np.log(LARGEST), COARSE)
        height = np.empty((lanes, coarse.size))
        for part in _parts(np.arange(lanes), count * coarse.size):
            steps = np.broadcast_to(coarse, (part.size, coarse.size))
            height[part] = self._scatters(residuals[part], steps, SOME_SHARES).height.max(axis=0)
        # A hill may lie between two coarse points: its flank there is n·(COARSE/2)² lower.
        seen = height >= height.max(axis=1, keepdims=True) - NEGLIGIBLE - count * COARSE**2 / 2
        first = np.maximum(seen.argmax(axis=1) - 1, 0)
        last = np.minimum(coarse.size - seen[:, ::-1].argmax(axis=1), coarse.size - 1)
        step = FINE / np.sqrt(2 * count)
        wanted = np.ceil((coarse[last] - coarse[first]) / step).astype(int) + 1
        points = 4 * np.ceil(wanted / 4).astype(int)
        return [
            (rows, np.linspace(coarse[first[rows]], coarse[last[rows]], int(number), axis=1))
            for number in np.unique(points)
            for rows in _parts(np.flatnonzero(points == number), count * int(number))
        ]

    def _scatters(self, residuals: Floats, steps: Floats, shares: slice = slice(None)) -> _Scatters:
        """Return what residuals (lanes, n) say of scatters exp(steps), (lanes, σ), and of some of SHARES."""
        spread = np.exp(steps)
        sigma = np.hypot(spread, self.least)
        square = (residuals.T[:, :, None] / sigma) ** 2
        normal = NORMAL * np.exp(-0.5 * np.minimum(square, 1400.0))
        wide = 1 + square / (2 * WILD**2)
        wild = STUDENT / WILD / (wide * np.sqrt(wide))
        known = -0.5 * (np.log(spread / self.typical) / self.factor) ** 2 - np.log(self.factor)
        known -= residuals.shape[1] * np.log(sigma)
        mixed = zip(SHARES[shares], SHARE_WEIGHTS[shares], strict=True)
        height = np.stack(
            [known + np.log(weight) + _log_product((1 - share) * normal + share * wild) for share, weight in mixed]
        )
        return _Scatters(height=height, step=steps[:, 1] - steps[:, 0], sigma=sigma, normal=normal, wild=wild)

    def _alone(self, residuals: Floats) -> _Scatters:
        """Return what residuals (n,) say of scatter and share of outliers."""
        return self._scatters(residuals[None], self._grids(residuals[None])[0][1])

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Standard deviation of one throw from residuals (n,) of a fit that has spent so many parameters."""
        found = self._alone(residuals)
        mean = float(np.exp((found.posterior * np.log(found.sigma)).sum()))
        count = residuals.size
        return mean * float(np.sqrt(count / max(count - spent, 1.0)))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Probability that each of residuals (n,) is an outlier."""
        return self._alone(residuals).outlier_probability

    def sample(self, scatter: Floats, rng: np.random.Generator) -> Floats:
        """Residuals without outliers, one for each of `scatter`, shapes equal."""
        return scatter * rng.normal(size=np.shape(scatter))


BY_CHANCE = 0.02
"""How likely a throw is to jam although its wheels would take it."""

SLOWEST = 0.02
"""A predicted jam counts as this share of the measured speed: very wrong, but finite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForwardModel:
    """The settings of measured throws, each distinct one once; `row`: which of them each throw was, (n,).

    moment: when each was made, (n,), as `moments` gives it, where friction drifts; then each throw is a setting of its
    own. None: friction stays.
    """

    scenario: Scenario
    law: Law
    settings: Throws
    row: NDArray[np.intp]
    moment: Floats | None = None

    def exit_speed(self, known: Mapping[str, Number], options: Options = QUICK) -> Floats:
        """Return what the chronograph shows [m/s], (..., n); 0: nothing comes out.

        known: values (SI, shape (...)) in place of the configuration's.
        """
        lanes = {key: np.asarray(value, dtype=np.float64)[..., None] for key, value in known.items()}
        return self.exit_speed_of(self.drifted(self.law.launcher(self.scenario, lanes), lanes), options)

    def drifted(self, launcher: Launcher, lanes: Mapping[str, Number]) -> Launcher:
        """Return the launcher with the friction that it had at each throw, of shape (..., n); lanes: values by key,
        (..., 1)."""
        if self.moment is None or DRIFT not in lanes:
            return launcher
        return with_friction(launcher, launcher.contact.friction.scaled(np.exp(lanes[DRIFT] * self.moment)))

    def part(self, throws: Throws, mask: NDArray[np.bool_]) -> ForwardModel:
        """Return the bench of those of its first `throws` that `mask` (n,) chooses."""
        moment = None if self.moment is None else self.moment[: mask.size][mask]
        return forward_model(self.scenario, self.law, throws.chosen(mask), moment)

    def exit_speed_of(self, launcher: Launcher, options: Options = QUICK) -> Floats:
        """Likewise for a launcher whose arrays have shape (..., 1), its friction's perhaps (..., n)."""
        parts: list[tuple[NDArray[np.intp], Floats]] = []
        present = self.settings.present
        kinds, kind = np.unique(present, axis=0, return_inverse=True)
        for number, pattern in enumerate(kinds):
            rows = np.flatnonzero(kind.reshape(-1) == number)
            stages = tuple(int(k) for k in np.flatnonzero(pattern))
            chosen = self.settings.chosen(rows)
            speeds = chosen.surface_speed(launcher, stages, 0)
            speeds_b = chosen.surface_speed(launcher, stages, 1) if chosen.splits else None
            here = launcher if self.moment is None or len(kinds) == 1 else take(launcher, rows)
            there = replace(here, stages=tuple(launcher.stage(k) for k in stages))
            left = throw(there, speeds, speeds_b, options=options).exit_speed
            parts.append((rows, (outlet_speed if self.settings.at_outlet else indicated_speed)(there, left)))
        shape = np.broadcast_shapes(*(found.shape[:-1] for _, found in parts))
        out = np.empty((*shape, len(self.settings)))
        for rows, found in parts:
            out[..., rows] = found
        return out[..., self.row]


def forward_model(scenario: Scenario, law: Law, throws: Throws, moment: Floats | None = None) -> ForwardModel:
    """Return the bench that `throws` were made on; moment: when each was made, where friction may drift."""
    if moment is not None:
        return ForwardModel(
            scenario=scenario, law=law, settings=throws, row=np.arange(len(throws)), moment=moment
        )  # fmt: skip
    _, first, row = np.unique(throws.settings, return_index=True, return_inverse=True)
    return ForwardModel(scenario=scenario, law=law, settings=throws.chosen(first), row=row.reshape(-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Residuals:
    """Residuals ln(measured) − ln(model) as a function of y (lanes, p); near 0 they are relative errors.

    measured: exit speeds [m/s] of the bench's first throws; the others jammed, and their columns are 1 where the model
    lets them through, else 0.
    """

    model: ForwardModel
    priors: tuple[Prior, ...]
    measured: Floats

    def __call__(self, y: Floats) -> Floats:
        """Residuals [-] (lanes, n)."""
        known = values(self.priors, bend(self.priors)(y)[0])
        found = np.broadcast_to(self.model.exit_speed(known), (y.shape[0], self.model.row.size))
        count = self.measured.size
        residuals = np.log(self.measured) - np.log(np.maximum(found[:, :count], SLOWEST * self.measured))
        return np.concatenate([residuals, found[:, count:] > 0], axis=1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Loss of throws of which the last `jams` jammed: each that the model lets through costs what a rare event does."""

    noise: Noise
    jams: int

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Values (lanes,) and weights (lanes, n); the jams' weights are 0, their columns are steps."""
        left, missed = self._parted(residuals)
        value, weights = self.noise(left)
        return value - np.log(BY_CHANCE) * missed.sum(axis=1), np.concatenate([weights, np.zeros_like(missed)], axis=1)

    def value(self, residuals: Floats) -> Floats:
        """Values (lanes,) alone."""
        left, missed = self._parted(residuals)
        return np.asarray(self.noise.value(left) - np.log(BY_CHANCE) * missed.sum(axis=1))

    def _parted(self, residuals: Floats) -> tuple[Floats, Floats]:
        count = residuals.shape[1] - self.jams
        return residuals[:, :count], residuals[:, count:]


NOISE = Noise()
SHOT_TO_SHOT = 0.01
"""Scatter of a launcher itself [-], beside what the instruments add; an assumption."""

STATED = 0.25
"""How well a scatter is known whose instruments the table tells of, as a standard deviation of its logarithm."""


def usable(throws: Throws) -> NDArray[np.intp]:
    """Rows of throws that left at some speed."""
    return np.flatnonzero(throws.exit_speed > 0)


def noise_of(throws: Throws) -> Noise:
    """Return what is expected of the scatter of `throws`: by the table's own words where it has any."""
    if throws.uncertainty is None:
        return NOISE
    known = float(np.median(throws.uncertainty)) if len(throws) else 0.0
    return Noise(typical=float(np.hypot(known, SHOT_TO_SHOT)), factor=STATED)

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

from stager.fit.friction_laws import Law
from stager.fit.priors import Prior, bend, values
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.chain import SURE, Options, throw
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


@dataclass(frozen=True, slots=True)
class Noise:
    """typical: scatter that is expected before any data, in the residuals' unit; factor: within which it is known
    (one standard deviation of its logarithm); least: resolution of the instrument, added in squares."""

    typical: float = 0.015
    factor: float = 1.0
    least: float = 2e-4

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n): slope by residuals."""
        lanes, count = residuals.shape
        loss, weights = np.empty(lanes), np.empty((lanes, count))
        for rows, steps in self._grids(residuals):
            size = max(1, CHUNK // (count * steps.shape[1]))
            for k in range(0, rows.size, size):
                part = rows[k : k + size]
                loss[part], weights[part] = self._loss(residuals[part], steps[k : k + size])
        return loss, weights

    def _grids(self, residuals: Floats) -> list[tuple[NDArray[np.intp], Floats]]:
        """Return lanes and their values of ln σ (lanes, points), lanes with about as many points together.

        Each lane's points cover all of σ where its posterior has any weight: it can have two hills, with half of the
        residuals near 0.
        """
        count = residuals.shape[1]
        coarse = np.arange(np.log(self.least) - BELOW, np.log(LARGEST), COARSE)
        height = np.empty((residuals.shape[0], coarse.size))
        size = max(1, CHUNK // (count * coarse.size))
        for k in range(0, len(height), size):
            part = residuals[k : k + size]
            steps = np.broadcast_to(coarse, (len(part), coarse.size))
            height[k : k + size] = self._height(part, steps, slice(1, None, 2))[0].max(axis=2)
        # A hill may lie between two coarse points: its flank there is n·(COARSE/2)² lower.
        seen = height >= height.max(axis=1, keepdims=True) - NEGLIGIBLE - count * COARSE**2 / 2
        first = np.maximum(seen.argmax(axis=1) - 1, 0)
        last = np.minimum(coarse.size - seen[:, ::-1].argmax(axis=1), coarse.size - 1)
        step = FINE / np.sqrt(2 * count)
        wanted = np.ceil((coarse[last] - coarse[first]) / step).astype(int) + 1
        points = 4 * np.ceil(wanted / 4).astype(int)
        out = []
        for number in np.unique(points):
            rows = np.flatnonzero(points == number)
            out.append((rows, np.linspace(coarse[first[rows]], coarse[last[rows]], int(number), axis=1)))
        return out

    def _loss(self, residuals: Floats, steps: Floats) -> tuple[Floats, Floats]:
        posterior, total, normal, wild, sigma = self._grid(residuals, steps)
        squares = (residuals**2)[:, None, None, :]
        inside = 1 / sigma[..., None] ** 2
        outside = 3.0 / (2.0 * (WILD * sigma[..., None]) ** 2 + squares)
        pull = (normal * inside + wild * outside) / (normal + wild)
        weights = (posterior[..., None] * pull).sum(axis=(1, 2))
        return -total, weights

    def _height(
        self, residuals: Floats, steps: Floats, shares: slice = slice(None)
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Return ln density of σ and w (lanes, σ, w), densities (lanes, σ, w, n) of normal and wild residuals, σ.

        shares: which of SHARES.
        """
        wild_shares = SHARES[shares, None]
        spread = np.exp(steps)[:, :, None]
        sigma = np.hypot(spread, self.least)
        ratio = residuals[:, None, None, :] / sigma[..., None]
        normal = np.exp(-0.5 * np.minimum(ratio**2, 1400.0)) * (0.3989422804014327 / sigma[..., None])
        normal = normal * (1 - wild_shares)
        wild = (1 + (ratio / WILD) ** 2 / 2) ** -1.5 * (0.35355339059327373 / (WILD * sigma[..., None]))
        wild = wild * wild_shares
        known = -0.5 * (np.log(spread / self.typical) / self.factor) ** 2 - np.log(self.factor)
        return np.log(normal + wild).sum(axis=-1) + known + np.log(SHARE_WEIGHTS[shares]), normal, wild, sigma

    def _grid(self, residuals: Floats, steps: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return the posterior of σ and w on a grid (lanes, σ, w), ln evidence (lanes,), densities as `_height`, σ."""
        height, normal, wild, sigma = self._height(residuals, steps)
        top = height.max(axis=(1, 2), keepdims=True)
        mass = np.exp(height - top)
        total = mass.sum(axis=(1, 2), keepdims=True)
        evidence = (np.log(total) + top)[:, 0, 0] + np.log(steps[:, 1] - steps[:, 0]) - 0.9189385332046727
        return mass / total, evidence, normal, wild, sigma

    def _alone(self, residuals: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return `_grid` of residuals (n,)."""
        return self._grid(residuals[None], self._grids(residuals[None])[0][1])

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Standard deviation of one throw from residuals (n,) of a fit that has spent so many parameters."""
        posterior, _, _, _, sigma = self._alone(residuals)
        mean = float(np.exp((posterior * np.log(sigma)).sum()))
        count = residuals.size
        return mean * float(np.sqrt(count / max(count - spent, 1.0)))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Probability that each of residuals (n,) is an outlier."""
        posterior, _, normal, wild, _ = self._alone(residuals)
        return np.asarray((posterior[..., None] * wild / (normal + wild)).sum(axis=(1, 2))[0])

    def sample(self, scatter: Floats, rng: np.random.Generator) -> Floats:
        """Residuals without outliers, one for each of `scatter`, shapes equal."""
        return scatter * rng.normal(size=np.shape(scatter))


BY_CHANCE = 0.02
"""How likely a throw is to jam although its wheels would take it."""

SLOWEST = 0.02
"""A predicted jam counts as this share of the measured speed: very wrong, but finite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForwardModel:
    """The settings of measured throws, each distinct one once; `row`: which of them each throw was, (n,)."""

    scenario: Scenario
    law: Law
    settings: Throws
    row: NDArray[np.intp]

    def exit_speed(self, known: Mapping[str, Number], options: Options = SURE) -> Floats:
        """Return what the chronograph shows [m/s], (..., n); 0: nothing comes out.

        known: values (SI, shape (...)) in place of the configuration's.
        """
        lanes = {key: np.asarray(value, dtype=np.float64)[..., None] for key, value in known.items()}
        return self.exit_speed_of(self.law.launcher(self.scenario, lanes), options)

    def exit_speed_of(self, launcher: Launcher, options: Options = SURE) -> Floats:
        """Likewise for a launcher whose arrays have shape (..., 1)."""
        parts: list[tuple[NDArray[np.intp], Floats]] = []
        present = self.settings.present
        kinds, kind = np.unique(present, axis=0, return_inverse=True)
        for number, pattern in enumerate(kinds):
            rows = np.flatnonzero(kind.reshape(-1) == number)
            stages = tuple(int(k) for k in np.flatnonzero(pattern))
            chosen = self.settings.chosen(rows)
            speeds = chosen.surface_speed(launcher, stages, 0)
            speeds_b = chosen.surface_speed(launcher, stages, 1) if chosen.splits else None
            there = replace(launcher, stages=tuple(launcher.stage(k) for k in stages))
            left = throw(there, speeds, speeds_b, options=options).exit_speed
            parts.append((rows, (outlet_speed if self.settings.at_outlet else indicated_speed)(there, left)))
        shape = np.broadcast_shapes(*(found.shape[:-1] for _, found in parts))
        out = np.empty((*shape, len(self.settings)))
        for rows, found in parts:
            out[..., rows] = found
        return out[..., self.row]


def forward_model(scenario: Scenario, law: Law, throws: Throws) -> ForwardModel:
    """The bench that `throws` were made on."""
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
        found = self.model.exit_speed(values(self.priors, bend(self.priors)(y)[0]))
        found = np.broadcast_to(found, (y.shape[0], self.model.row.size))
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
        count = residuals.shape[1] - self.jams
        value, weights = self.noise(residuals[:, :count])
        missed = residuals[:, count:]
        return value - np.log(BY_CHANCE) * missed.sum(axis=1), np.concatenate([weights, np.zeros_like(missed)], axis=1)


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

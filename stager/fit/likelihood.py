"""Compute the likelihood of measured throws under a launcher, with scatter and outliers of unknown size.

A residual is normal with standard deviation σ, or, with probability w, an outlier: Student's t with two degrees of
freedom, WILD times as wide. σ and w are not known. The loss is −ln of the likelihood, marginalised over both, so fits
and draws include their uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.priors import DRIFT, CandidateLaw, Prior, bend, values, with_friction
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario
from stager.physics.chain import QUICK, Options, throw
from stager.physics.flight import indicated_speed, outlet_speed
from stager.physics.records import take

FITTED = replace(QUICK, lost_jams=True)
"""Throws of a fit, whose remotest samples may have a creep or feed speed of next to nothing."""
WILD = 5.0
"""Scale of outliers over that of other residuals [-]; an assumption."""
SHARES = np.array([0.003, 0.03, 0.1, 0.25])
"""Probabilities w of an outlier over which the likelihood is averaged [-]."""
SHARE_WEIGHTS = np.array([0.45, 0.3, 0.2, 0.05])
"""Prior probabilities of SHARES [-]: most sessions have few outliers; an assumption."""
MOST_NUMBERS = 400_000
"""Numbers of an array that is computed at once, for the sake of memory."""

GREATEST_SCATTER = 50.0
"""Greatest σ [-]: residuals are differences of logarithms of speeds, and none is larger."""

LOG_RANGE_BELOW = 3.0
"""Distance of the least ln σ below that of the instrument's resolution [-]."""

COARSE_STEP = 0.4
"""Step of ln σ at which the modes of its posterior are located [-]."""

FINE_STEP = 1.1
"""Step of ln σ of the integral, in standard deviations of a mode, 1/√(2n) [-]."""

NEGLIGIBLE_DROP = 9.0
"""Drop of the log density below its maximum from which σ is left out [-]."""

COARSE_SHARES = slice(1, None, 2)
"""Those of SHARES that suffice to locate the modes."""

NORMAL_PEAK, STUDENT_PEAK = 0.3989422804014327, 0.35355339059327373
"""Densities at 0 of the standard normal distribution and of Student's t with two degrees of freedom."""

FACTORS = 8
"""Densities that are multiplied before a logarithm is taken, which is slow; none is below 1e-30, so none underflows."""


def _parts(rows: NDArray[np.intp], size: int) -> list[NDArray[np.intp]]:
    """Return `rows` in parts of at most MOST_NUMBERS numbers; size: numbers of one row."""
    return np.array_split(rows, max(1, -(-rows.size * size // MOST_NUMBERS)))


def _log_product(densities: Floats) -> Floats:
    """Return the logarithm of the product over the first axis."""
    total = np.zeros(densities.shape[1:])
    for first in range(0, len(densities), FACTORS):
        total += np.log(densities[first : first + FACTORS].prod(axis=0))
    return total


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatters:
    """Posterior of scatter σ and outlier probability w, on a grid for each lane (set of residuals).

    height: ln density of σ and w, (w, lanes, σ)
    step: of ln σ, (lanes,) [-]
    sigma: σ, (lanes, σ), or where it differs from throw to throw (n, lanes, σ)
    normal, wild: densities of the residuals, in units of σ, as normal ones and as outliers, (n, lanes, σ)
    """

    height: Floats
    step: Floats
    sigma: Floats
    normal: Floats
    wild: Floats

    @property
    def evidence(self) -> Floats:
        """Log marginal likelihood of the residuals, (lanes,)."""
        top = self.height.max(axis=(0, 2))
        return np.asarray(
            np.log(np.exp(self.height - top[:, None]).sum(axis=(0, 2))) + top + np.log(self.step * NORMAL_PEAK)
        )  # fmt: skip

    @property
    def posterior(self) -> Floats:
        """Probability of each σ and w, (w, lanes, σ)."""
        mass = np.exp(self.height - self.height.max(axis=(0, 2))[:, None])
        return np.asarray(mass / mass.sum(axis=(0, 2))[:, None])

    @property
    def _normal_and_wild(self) -> tuple[Floats, Floats]:
        """Joint probability of σ and of a residual's being normal, or an outlier, both (n, lanes, σ)."""
        normal, wild = np.zeros_like(self.normal), np.zeros_like(self.wild)
        for share, chance in zip(SHARES, self.posterior, strict=True):
            ratio = chance / ((1 - share) * self.normal + share * self.wild)
            normal += (1 - share) * ratio
            wild += share * ratio
        return normal * self.normal, wild * self.wild

    @property
    def outlier_probability(self) -> Floats:
        """Probability of each residual of the first lane of being an outlier, (n,)."""
        return np.asarray(self._normal_and_wild[1][:, 0].sum(axis=-1))

    def weights(self, residuals: Floats) -> Floats:
        """Return weights (lanes, n) of the equivalent least squares: the slope of −ln density over each residual."""
        normal, wild = self._normal_and_wild
        variance = self.sigma**2
        outside = 3.0 / (2.0 * WILD**2 * variance + (residuals**2).T[:, :, None])
        return np.asarray((normal / variance + wild * outside).sum(axis=2).T)


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise model of residuals, with a lognormal prior of their scatter.

    typical: median of the prior, in the residuals' unit
    factor: standard deviation of the scatter's logarithm [-]
    least: error by the resolution of the instrument, added in quadrature, of all or of each throw (n,), in the
        residuals' unit
    """

    typical: float = 0.015
    factor: float = 1.0
    least: float | Floats = 2e-4

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n) as in `ResidualLoss`."""
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
        """Return lanes and their values of ln σ (lanes, points), in groups of lanes with equal numbers of points.

        Each lane's points cover all σ of any posterior weight. The posterior can have two modes, for instance where
        half of the residuals are near 0.
        """
        lanes, count = residuals.shape
        coarse = np.arange(np.log(np.min(self.least)) - LOG_RANGE_BELOW, np.log(GREATEST_SCATTER), COARSE_STEP)
        height = np.empty((lanes, coarse.size))
        for part in _parts(np.arange(lanes), count * coarse.size):
            steps = np.broadcast_to(coarse, (part.size, coarse.size))
            height[part] = self._scatters(residuals[part], steps, COARSE_SHARES).height.max(axis=0)
        # A mode may lie between two coarse points, where the density is n·(COARSE_STEP/2)² lower.
        seen = height >= height.max(axis=1, keepdims=True) - NEGLIGIBLE_DROP - count * COARSE_STEP**2 / 2
        first = np.maximum(seen.argmax(axis=1) - 1, 0)
        last = np.minimum(coarse.size - seen[:, ::-1].argmax(axis=1), coarse.size - 1)
        step = FINE_STEP / np.sqrt(2 * count)
        wanted = np.ceil((coarse[last] - coarse[first]) / step).astype(int) + 1
        points = 4 * np.ceil(wanted / 4).astype(int)
        return [
            (rows, np.linspace(coarse[first[rows]], coarse[last[rows]], int(number), axis=1))
            for number in np.unique(points)
            for rows in _parts(np.flatnonzero(points == number), count * int(number))
        ]

    def _scatters(self, residuals: Floats, steps: Floats, shares: slice = slice(None)) -> _Scatters:
        """Return the posterior of scatter exp(steps), (lanes, σ), and of some of SHARES, given residuals (lanes, n)."""
        spread = np.exp(steps)
        sigma = np.hypot(spread, self.least if np.ndim(self.least) == 0 else np.asarray(self.least)[:, None, None])
        square = (residuals.T[:, :, None] / sigma) ** 2
        normal = NORMAL_PEAK * np.exp(-0.5 * np.minimum(square, 1400.0))
        wide = 1 + square / (2 * WILD**2)
        wild = STUDENT_PEAK / WILD / (wide * np.sqrt(wide))
        known = -0.5 * (np.log(spread / self.typical) / self.factor) ** 2 - np.log(self.factor)
        known -= np.log(sigma).sum(axis=0) if sigma.ndim == 3 else residuals.shape[1] * np.log(sigma)
        mixed = zip(SHARES[shares], SHARE_WEIGHTS[shares], strict=True)
        height = np.stack(
            [known + np.log(weight) + _log_product((1 - share) * normal + share * wild) for share, weight in mixed]
        )
        return _Scatters(height=height, step=steps[:, 1] - steps[:, 0], sigma=sigma, normal=normal, wild=wild)

    def _of_one(self, residuals: Floats) -> _Scatters:
        """Return the posterior of scatter and outlier probability given residuals (n,)."""
        return self._scatters(residuals[None], self._grids(residuals[None])[0][1])

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Return the standard deviation of one throw from residuals (n,) of a fit of `spent` effective parameters."""
        found = self._of_one(residuals)
        sigma = np.sqrt(np.mean(found.sigma**2, axis=0)) if found.sigma.ndim == 3 else found.sigma
        mean = float(np.exp((found.posterior * np.log(sigma)).sum()))
        count = residuals.size
        return mean * float(np.sqrt(count / max(count - spent, 1.0)))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Return the probability of each of residuals (n,) of being an outlier, (n,)."""
        return self._of_one(residuals).outlier_probability

    def relative(self, residuals: Floats) -> Floats:
        """Return the scatter of each throw over the root mean square of all, (n,): 1 but for the instrument's error."""
        if np.ndim(self.least) == 0:
            return np.ones(residuals.size)
        found = self._of_one(residuals)
        square = (found.posterior.sum(axis=0)[0] * found.sigma[:, 0] ** 2).sum(axis=-1)
        return np.asarray(np.sqrt(square / square.mean()))

    @property
    def even(self) -> Noise:
        """Noise of throws that scatter alike: this one."""
        return self

    def chosen(self, rows: NDArray[np.bool_]) -> Noise:
        """Return the noise of some of the throws, rows (n,)."""
        return self if np.ndim(self.least) == 0 else replace(self, least=np.asarray(self.least)[rows])


SPREAD_RATIOS = np.array([0.0, 1.0, 2.0, 4.0, 8.0])
"""Scatter by unequal projectiles, where it is greatest, over the other scatter of a throw [-]: equally probable."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnevenNoise:
    """Noise whose scatter differs from throw to throw. The likelihood is averaged over equally probable cases.

    even: noise of a throw of size 1
    sizes: standard deviation of each throw over σ, (cases, n) [-]
    """

    even: Noise
    sizes: Floats

    @classmethod
    def by_mass(cls, even: Noise, stated: Floats, effect: Floats) -> UnevenNoise:
        """Return noise that grows with the effect of mass: projectiles differ, which shows where the wheels slip.

        The variance of a throw is σ²·(stated² + (ratio·effect)²), with SPREAD_RATIOS as cases.

        Parameters
        ----------
        even : Noise
        stated : ndarray, shape (n,)
            Standard deviation of each throw over σ where mass has no effect [-].
        effect : ndarray, shape (n,)
            Size of d ln(exit speed) / d ln(mass) at each throw over the greatest [-].
        """
        return cls(even=even, sizes=np.hypot(stated, SPREAD_RATIOS[:, None] * effect))

    def chosen(self, rows: NDArray[np.bool_]) -> UnevenNoise:
        """Return the noise of some of the throws, rows (n,)."""
        return replace(self, even=self.even.chosen(rows), sizes=self.sizes[:, rows])

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), and weights (lanes, n) as in `ResidualLoss`."""
        found = [self.even(residuals / size) for size in self.sizes]
        losses = np.stack([loss for loss, _ in found]) + np.log(self.sizes).sum(axis=1)[:, None]
        loss, chance = _averaged(losses)
        weights = [
            p[:, None] * weight / size**2 for p, (_, weight), size in zip(chance, found, self.sizes, strict=True)
        ]
        return loss, np.asarray(sum(weights))

    def value(self, residuals: Floats) -> Floats:
        """Return −ln likelihood (lanes,) of residuals (lanes, n), without the weights."""
        return _averaged(self._losses(residuals))[0]

    def chances(self, residuals: Floats) -> Floats:
        """Return the probability of each case, (cases,), given residuals (n,)."""
        return np.asarray(_averaged(self._losses(residuals[None]))[1][:, 0])

    def relative(self, residuals: Floats) -> Floats:
        """Return the scatter of each throw over that of a throw of size 1, (n,), given residuals (n,)."""
        return np.asarray(np.sqrt(self.chances(residuals) @ self.sizes**2))

    def scatter(self, residuals: Floats, spent: float = 0.0) -> float:
        """Return the root mean square over the throws of their standard deviations; arguments as of Noise.scatter."""
        found = [self.even.scatter(residuals / size, spent) * np.sqrt(np.mean(size**2)) for size in self.sizes]
        return float(self.chances(residuals) @ np.array(found))

    def outlier_probability(self, residuals: Floats) -> Floats:
        """Return the probability of each of residuals (n,) of being an outlier, (n,)."""
        found = np.stack([self.even.outlier_probability(residuals / size) for size in self.sizes])
        return np.asarray(self.chances(residuals) @ found)

    def _losses(self, residuals: Floats) -> Floats:
        """Return −ln likelihood (cases, lanes) of residuals (lanes, n)."""
        return np.stack([self.even.value(residuals / size) + np.log(size).sum() for size in self.sizes])


def _averaged(losses: Floats) -> tuple[Floats, Floats]:
    """Return −ln of the mean likelihood (lanes,) of equally probable cases, and their probabilities (cases, lanes)."""
    least = losses.min(axis=0)
    likelihood = np.exp(least - losses)
    return np.asarray(least - np.log(likelihood.mean(axis=0))), likelihood / likelihood.sum(axis=0)


JAM_CHANCE = 0.02
"""Probability that a throw jams although the model lets it through [-]; an assumption."""

SLOWEST = 0.02
"""Share of the measured speed that stands for a predicted jam [-]: very wrong, but finite in logarithms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForwardModel:
    """The model's prediction of measured throws, each distinct setting computed once.

    scenario: as configured
    law: friction law
    settings: distinct settings
    row: number of the setting of each throw, (n,)
    moment: time of each throw, (n,), as `moments` gives it, where friction drifts; then each throw is a setting of its
        own. None: friction is constant
    """

    scenario: Scenario
    law: CandidateLaw
    settings: Throws
    row: NDArray[np.intp]
    moment: Floats | None = None

    def exit_speed(self, known: Mapping[str, Number], options: Options = FITTED) -> Floats:
        """Return the indicated exit speed of each throw, (..., n) [m/s]; 0: a jam.

        Parameters
        ----------
        known : mapping
            SI values by key, shape (...), in place of the configuration's.
        options : Options
            Accuracy of the integration.
        """
        lanes = {key: np.asarray(value, dtype=np.float64)[..., None] for key, value in known.items()}
        return self.exit_speed_of(self.drifted(self.law.launcher(self.scenario, lanes), lanes), options)

    def drifted(self, launcher: Launcher, lanes: Mapping[str, Number]) -> Launcher:
        """Return the launcher with its friction at each throw, (..., n); lanes: SI values by key, (..., 1)."""
        if self.moment is None or DRIFT not in lanes:
            return launcher
        return with_friction(launcher, launcher.contact.friction.scaled(np.exp(lanes[DRIFT] * self.moment)))

    def part(self, throws: Throws, mask: NDArray[np.bool_]) -> ForwardModel:
        """Return the model of the throws that `mask` (n,) selects; throws: the first n of this model's."""
        moment = None if self.moment is None else self.moment[: mask.size][mask]
        return forward_model(self.scenario, self.law, throws.chosen(mask), moment)

    def exit_speed_of(self, launcher: Launcher, options: Options = FITTED) -> Floats:
        """Return indicated exit speeds (..., n) [m/s] for a launcher of arrays (..., 1), of friction also (..., n)."""
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


def forward_model(scenario: Scenario, law: CandidateLaw, throws: Throws, moment: Floats | None = None) -> ForwardModel:
    """Return the forward model of `throws`; moment: time of each, (n,), where friction may drift."""
    if moment is not None:
        return ForwardModel(
            scenario=scenario, law=law, settings=throws, row=np.arange(len(throws)), moment=moment
        )  # fmt: skip
    _, first, row = np.unique(throws.settings, return_index=True, return_inverse=True)
    return ForwardModel(scenario=scenario, law=law, settings=throws.chosen(first), row=row.reshape(-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Residuals:
    """Residuals ln(measured) − ln(model) as a function of y (lanes, p); near 0 they are relative errors.

    model: of the throws, of which the last jammed; their columns are 1 where the model lets them through, else 0
    priors: of the parameters, p
    measured: exit speeds of the throws that did not jam [m/s]
    """

    model: ForwardModel
    priors: tuple[Prior, ...]
    measured: Floats

    def __call__(self, y: Floats) -> Floats:
        """Return residuals [-], (lanes, n)."""
        known = values(self.priors, bend(self.priors)(y)[0])
        found = np.broadcast_to(self.model.exit_speed(known), (y.shape[0], self.model.row.size))
        count = self.measured.size
        residuals = np.log(self.measured) - np.log(np.maximum(found[:, :count], SLOWEST * self.measured))
        return np.concatenate([residuals, found[:, count:] > 0], axis=1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Loss of throws, the last `jams` of which jammed; one that the model lets through costs −ln JAM_CHANCE."""

    noise: Noise | UnevenNoise
    jams: int

    def __call__(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return values (lanes,) and weights (lanes, n), 0 for jams, because their columns are step functions."""
        left, missed = self._parted(residuals)
        value, weights = self.noise(left)
        return value - np.log(JAM_CHANCE) * missed.sum(axis=1), np.concatenate([weights, np.zeros_like(missed)], axis=1)

    def value(self, residuals: Floats) -> Floats:
        """Return the values (lanes,) without the weights."""
        left, missed = self._parted(residuals)
        return np.asarray(self.noise.value(left) - np.log(JAM_CHANCE) * missed.sum(axis=1))

    def _parted(self, residuals: Floats) -> tuple[Floats, Floats]:
        """Return the columns of throws that left, and those of jams."""
        count = residuals.shape[1] - self.jams
        return residuals[:, :count], residuals[:, count:]


NOISE = Noise()
"""Noise model of throws whose table states no uncertainty."""
LAUNCHER_SCATTER = 0.01
"""Relative scatter of a launcher itself [-], to which that of the instruments is added; an assumption."""

STATED_FACTOR = 0.25
"""Standard deviation of the logarithm of the scatter where the table states its instruments' uncertainty [-]."""


def usable(throws: Throws) -> NDArray[np.intp]:
    """Return the rows of throws with an exit speed above 0."""
    return np.flatnonzero(throws.exit_speed > 0)


def expected_scatter(throws: Throws) -> Floats:
    """Return the relative scatter that is expected of each throw, (n,) [-]: the launcher's and what the table states.

    throws: usable ones
    """
    if throws.uncertainty is None:
        return np.full(len(throws), NOISE.typical)
    return np.hypot(throws.uncertainty, LAUNCHER_SCATTER)


def noise_of(throws: Throws) -> Noise | UnevenNoise:
    """Return the noise model of usable `throws`, by the uncertainty that their table states of each, where it does."""
    if throws.uncertainty is None:
        rounding = rounding_errors(throws)
        return (
            NOISE
            if rounding.max(initial=0.0) < ROUNDING_SEEN
            else replace(NOISE, least=np.hypot(NOISE.least, rounding))
        )
    expected = expected_scatter(throws)
    typical = float(np.median(expected)) if expected.size else LAUNCHER_SCATTER
    even = Noise(typical=typical, factor=STATED_FACTOR)
    return UnevenNoise(even=even, sizes=expected[None] / typical) if np.any(expected != typical) else even


ROUNDING_SEEN = 1e-3
"""Relative error by rounding from which it is told apart from the scatter [-]: no launcher scatters much less."""


def alike(throws: Throws) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first of the throws at one setting that are read alike, (k,), and the size of that group, (n,)."""
    pairs = np.column_stack([throws.settings, throws.exit_speed])
    _, first, which, counts = np.unique(pairs, axis=0, return_index=True, return_inverse=True, return_counts=True)
    return np.sort(first), counts[which.reshape(-1)]


def rounding_errors(throws: Throws) -> Floats:
    """Return the relative standard deviation of each reading by the step of the instrument, (n,) [-].

    Throws at one setting that are read alike err alike: together they have the error of one.
    """
    if throws.step is None:
        return np.zeros(len(throws))
    return np.asarray(throws.step * np.sqrt(alike(throws)[1] / 12))

"""What the model says the measured throws should have been."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.laws import Law
from stager.fit.priors import Prior, bend, values
from stager.fit.statistics.noise import Noise
from stager.fit.table.record import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.chain import SURE, Options, throw
from stager.physics.muzzle import indicated_speed, outlet_speed

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

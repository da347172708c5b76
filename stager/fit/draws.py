"""Draws of a scenario's uncertain quantities, and the launchers they make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stager.fit.laws import Law, own_law
from stager.fit.priors import of
from stager.fit.records import Fit
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Ensemble:
    """Launchers that could be the real one: lane 0 is the best guess, the others equally likely draws.

    values: SI values by key, each (lanes,); the launcher's arrays are over the lanes.
    """

    scenario: Scenario
    law: Law
    values: Mapping[str, Floats]
    lanes: int

    @property
    def launcher(self) -> Launcher:
        """All of them, arrays of shape (lanes,)."""
        return self.law.launcher(self.scenario, self.values)

    @property
    def columns(self) -> Launcher:
        """All of them, arrays of shape (lanes, 1): for settings along the last axis."""
        return self.law.launcher(self.scenario, {key: value[:, None] for key, value in self.values.items()})

    @property
    def best(self) -> Launcher:
        """The best guess alone."""
        return self.law.launcher(self.scenario, {key: float(value[0]) for key, value in self.values.items()})


def after(fit: Fit, rng: np.random.Generator, count: int) -> Ensemble:
    """`count` draws after a fit."""
    drawn = fit.posterior.even(rng, count)
    known = {key: np.concatenate([[fit.best[key]], values]) for key, values in drawn.items()}
    return Ensemble(scenario=fit.scenario, law=fit.found.law, values=known, lanes=count + 1)


def before(scenario: Scenario, rng: np.random.Generator, count: int) -> Ensemble:
    """`count` draws of what a configuration says: those that a fit has left, else its own uncertainties."""
    known = {}
    draws = scenario.draws or {}
    rows = rng.permutation(_rows(scenario, count)) if draws else None
    for item in scenario.uncertain:
        if rows is not None and item.key in draws:
            values = draws[item.key][rows]
        else:
            values = of(item).value(rng.normal(size=count))
        known[item.key] = np.concatenate([[item.value], values])
    return Ensemble(scenario=scenario, law=own_law(scenario), values=known, lanes=count + 1)


def _rows(scenario: Scenario, count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
    size = next(iter((scenario.draws or {}).values())).size
    return np.resize(np.arange(size), count)

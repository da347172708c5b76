"""How well throws with fewer stages have foretold those with more."""

from __future__ import annotations

import numpy as np

from stager.fit.forward import bench
from stager.fit.posterior import posterior
from stager.fit.records import Check
from stager.fit.search import Found, search
from stager.fit.statistics.coverage import quantile
from stager.fit.table.record import Throws
from stager.model.scenario import Scenario

ENOUGH = 6
DRAWS = 200


def checks(scenario: Scenario, throws: Throws, found: Found, rng: np.random.Generator) -> tuple[Check, ...]:
    """For each stage count behind the first: its throws predicted from all with fewer stages."""
    count = throws.present.sum(axis=1)
    return tuple(
        _check(scenario, throws.chosen(count < stages), throws.chosen(count == stages), found, int(stages), rng)
        for stages in np.unique(count)
        if (count < stages).sum() >= ENOUGH
    )


def _check(
    scenario: Scenario, before: Throws, after: Throws, found: Found, stages: int, rng: np.random.Generator
) -> Check:
    earlier = search(scenario, found.law, before, found.noise, rng)
    drawn, _ = posterior(earlier, rng)
    draws = drawn.even(rng, DRAWS)
    speeds = bench(scenario, found.law, after).exit_speed(draws)
    single = speeds * np.exp(earlier.scatter * rng.normal(size=speeds.shape))
    shares = np.array([0.025, 0.5, 0.975])
    low, _, high = quantile(single, np.full(DRAWS, 1 / DRAWS), shares)
    middle = quantile(speeds, np.full(DRAWS, 1 / DRAWS), shares)[1]
    return Check(stages=stages, measured=after.exit_speed, predicted=middle, low=low, high=high)

"""The 95 % interval of a single throw against throws of another engine, the tests' oracle."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import binomtest

from stager.fit.fitting import fit
from stager.fit.prediction import FIRST_SCATTER, fitted_scenario, observations
from stager.fit.priors import own_law
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.projectile import Spread
from tests.recovery.bench import Plan, by_oracle, draw_truth, measure, scenario, table, working

SPEEDS = np.linspace(6.0, 20.0, 8)[:, None]
GIVEN = scenario("seed_ball")


RUNS, LAUNCHERS = 240, 4


@cache
def _of_drawn_launchers() -> tuple[Floats, Floats]:
    """Return settings (n, 1) and exit speeds (n,) [m/s] by the oracle: one throw of each of many drawn launchers."""
    rng = np.random.default_rng(3)
    settings = rng.choice(SPEEDS, RUNS)
    drawn = (own_law(GIVEN).launcher(GIVEN, draw_truth(GIVEN, rng)) for _ in range(RUNS))
    exits = [float(by_oracle(truth, setting[None])[0]) for truth, setting in zip(drawn, settings, strict=True)]
    return settings, np.array(exits)


@pytest.mark.parametrize("scatter", [0.005, 0.03])
def test_interval_covers_95_percent_of_throws_before_a_fit(scatter: float) -> None:
    # One throw of each launcher, so that throws are independent of each other.
    settings, exits = _of_drawn_launchers()
    exits = exits * np.exp(scatter * np.random.default_rng(4).normal(size=RUNS))
    outside = observations(GIVEN, table(settings, exits), 0, scatter).outside
    assert binomtest(int(outside.sum()), RUNS, 0.05).pvalue > 0.005


def _fitted(given: Scenario, rng: np.random.Generator, scatter: float) -> tuple[Scenario, Launcher, float]:
    """Return the scenario after a fit, the true launcher and the fitted scatter."""
    _, truth = working(given, SPEEDS, rng)
    plan = Plan(noise=scatter, throws=0, outliers=0.0)
    throws = measure(given, truth, np.repeat(SPEEDS, 3, axis=0), plan, rng, by_oracle)
    done = fit(given, throws, rng, other_laws=False, words=False)
    return fitted_scenario(done), truth, done.scatter


def test_interval_covers_95_percent_of_new_throws_after_a_fit() -> None:
    rng, new, outside, widths = np.random.default_rng(8), np.linspace(7.0, 18.0, 20)[:, None], [], []
    for _ in range(LAUNCHERS):
        known, truth, scatter = _fitted(GIVEN, rng, 0.015)
        exits = by_oracle(truth, new) * np.exp(0.015 * rng.normal(size=20))
        found = observations(known, table(new, exits), 0, scatter)
        outside.append(found.outside.mean())
        widths.append(float(np.median(np.log(found.interval[:, 1] / found.interval[:, 0]))))
    # Throws of one launcher share its error, so that the standard error is that of the launchers.
    assert np.mean(outside) == pytest.approx(0.05, abs=3 * np.std(outside) / np.sqrt(LAUNCHERS) + 0.01)
    # Most of the width is the scatter's own, 2 × 1.96 × 1.5 %.
    assert np.median(widths) == pytest.approx(0.059, rel=0.35)


def test_scatter_is_that_of_the_spreads_where_these_are_known() -> None:
    known = replace(GIVEN, uncertain=(), draws=None)
    throws = table(SPEEDS, by_oracle(GIVEN.launcher, SPEEDS))
    plain = observations(known, throws, 0)
    assert np.log(plain.interval[:, 1] / plain.interval[:, 0]) == pytest.approx(2 * 1.96 * FIRST_SCATTER, rel=0.1)
    projectile = replace(GIVEN.launcher.projectile, mass_spread=Spread(value=0.05, relative=True))
    launcher = replace(GIVEN.launcher, projectile=projectile)
    uneven = observations(replace(known, launcher=launcher, realise=lambda values: launcher), throws, 0)
    width = np.log(uneven.interval[:, 1] / uneven.interval[:, 0])
    # A heavier ball leaves slower mainly where the wheels slip on it.
    assert width[0] < 0.3 * width[-1]
    assert not plain.outside.any()

"""Grip limits and intervals of an ensemble of launchers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from stager.constraints.recommend import Recommended
from stager.fit.prediction import before, behind, chain, ensemble_of, finder, known_of, span_of, tune_behind
from stager.physics.chain import SURE, throw
from tests.recovery.bench import scenario


def test_peak_speeds_of_an_ensemble_do_not_jam() -> None:
    # With rubber friction fast wheels jam; integration steps that are too long would miss the standstill.
    given = scenario("bell_pair")
    ensemble = before(given, np.random.default_rng(0), 120)
    found = finder(given)(ensemble.launcher, 0, behind(ensemble, np.zeros(0), np.zeros(0)))
    exact = throw(ensemble.launcher, found.peak_speed[:, None]).exit_speed
    np.testing.assert_allclose(found.peak_exit, exact, rtol=1e-3)
    assert found.peak_speed.max() < 20.0


@pytest.mark.usefixtures("few_draws")
def test_launchers_that_are_all_alike_are_one() -> None:
    given = scenario("seed_ball")
    assert known_of(given).lanes == ensemble_of(given).lanes > 1
    certain = replace(given, uncertain=())
    assert ensemble_of(certain).lanes > known_of(certain).lanes == 1


@drawn(st.integers(0, 2**32 - 1), st.floats(-5, 5))
def test_nominal_lies_in_its_interval(seed: int, best: float) -> None:
    draws = np.concatenate([[best], np.random.default_rng(seed).normal(size=200)])
    found = span_of(draws)
    assert found.low <= found.nominal <= found.high


@pytest.mark.parametrize("wheel_speed, jams", [(9.0, False), (1e-3, True)], ids=["throws", "jams"])
def test_exit_speeds_at_the_recommended_setting_are_those_of_the_draws_that_do_not_jam(
    wheel_speed: float, jams: bool
) -> None:
    given = scenario("seed_ball")
    ensemble = before(given, np.random.default_rng(0), 40)
    chosen = Recommended(wheel_speed=wheel_speed, by="range", confidence=0.95, draws=40)
    found = tune_behind(ensemble, 0, np.zeros(0), np.zeros(0), finder(given), chosen)
    assert found is not None
    exits = throw(ensemble.launcher, np.full((ensemble.lanes, 1), wheel_speed), options=SURE).exit_speed
    assert found.jams == (exits[1:] == 0).mean() == float(jams)
    leaves = found.recommended_exit
    assert leaves.nominal == pytest.approx(exits[0])
    if jams:
        assert np.isnan([leaves.low, leaves.high]).all()
    else:
        assert exits.min() < leaves.low < leaves.nominal < leaves.high < exits.max()


def test_wheels_of_a_chain_stay_the_grip_margin_below_their_grip_limits() -> None:
    given = scenario("seed_ball")
    given = replace(given, limit_values=replace(given.limit_values, grip_margin=0.1))
    ensemble = before(given, np.random.default_rng(0), 20)
    steps = list(chain(ensemble, 2, finder(given)))
    speed = np.broadcast_to(ensemble.launcher.feed.speed, (ensemble.lanes,))
    for count, step in enumerate(steps, 1):
        assert step.arrival.entry_speed == pytest.approx(speed, rel=1e-3)
        known = ~np.isnan(step.found.wheel_speed)
        assert known.any()
        assert step.settings[known, -1] == pytest.approx(0.9 * step.found.wheel_speed[known])
        assert step.settings[~known, -1] == pytest.approx(step.found.peak_speed[~known])
        speed = throw(ensemble.launcher, step.settings, options=SURE).exit_speed
        assert step.settings.shape == (ensemble.lanes, count)

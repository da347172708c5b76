"""Grip limits and intervals of an ensemble of launchers."""

from __future__ import annotations

import numpy as np
from hypothesis import given as drawn
from hypothesis import strategies as st

from stager.fit.prediction import before, feed, finder, span_of
from stager.physics.chain import throw
from tests.recovery.bench import scenario


def test_peak_speeds_of_an_ensemble_do_not_jam() -> None:
    # With rubber friction fast wheels jam; integration steps that are too long would miss the standstill.
    given = scenario("bell_pair")
    ensemble = before(given, np.random.default_rng(0), 120)
    found = finder(given)(ensemble.launcher, 0, *feed(ensemble))
    exact = throw(ensemble.launcher, found.peak_speed[:, None]).exit_speed
    np.testing.assert_allclose(found.peak_exit, exact, rtol=1e-3)
    assert found.peak_speed.max() < 20.0


@drawn(st.integers(0, 2**32 - 1), st.floats(-5, 5))
def test_nominal_lies_in_its_interval(seed: int, best: float) -> None:
    draws = np.concatenate([[best], np.random.default_rng(seed).normal(size=200)])
    found = span_of(draws)
    assert found.low <= found.nominal <= found.high

"""Settings that launchers are tuned to."""

from __future__ import annotations

import numpy as np
from hypothesis import given as drawn
from hypothesis import strategies as st

from stager.fit.grip_ensemble import before, feed, span_of
from stager.fit.prediction import finder
from stager.physics.chain import throw
from tests.recovery.bench import scenario


def test_no_launcher_is_tuned_to_a_speed_at_which_it_jams() -> None:
    # Rubber friction lets a ball jam before fast wheels, where long steps carried it past its standstill.
    given = scenario("bell_pair")
    ensemble = before(given, np.random.default_rng(0), 120)
    found = finder(given)(ensemble.launcher, 0, *feed(ensemble))
    exact = throw(ensemble.launcher, found.peak_speed[:, None]).exit_speed
    np.testing.assert_allclose(found.peak_exit, exact, rtol=1e-3)
    assert found.peak_speed.max() < 20.0


@drawn(st.integers(0, 2**32 - 1), st.floats(-5, 5))
def test_nominal_lies_in_its_interval(seed: int, best: float) -> None:
    lanes = np.concatenate([[best], np.random.default_rng(seed).normal(size=200)])
    found = span_of(lanes)
    assert found.low <= found.nominal <= found.high

"""Priors as maps from a standard normal variable."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import truncnorm

from stager.fit.priors import LogNormal, Normal, Rectangular, bend, of
from stager.model.launcher import Uncertain

Z = np.linspace(-4, 4, 17)


def test_normal_prior_is_linear() -> None:
    assert Normal("k", 2.0, 0.5).value(Z) == pytest.approx(2 + 0.5 * Z)


def test_truncated_prior_matches_scipy() -> None:
    # scipy's truncated normal distribution, at the shares that belong to z.
    from scipy.special import ndtr

    prior = Normal("k", 0.3, 0.4, 0.0, 1.0)
    expected = truncnorm((0 - 0.3) / 0.4, (1 - 0.3) / 0.4, loc=0.3, scale=0.4).ppf(ndtr(Z))
    assert prior.value(Z) == pytest.approx(expected, abs=1e-9)
    assert (prior.value(np.array([-40.0, 40.0])) > 0).all()


def test_rectangular_prior_is_uniform() -> None:
    prior = of(Uncertain(key="k", value=1.0, standard_uncertainty=0.1, rectangular=True))
    assert isinstance(prior, Rectangular)
    drawn = prior.value(np.random.default_rng(1).normal(size=100_000))
    assert drawn.std() == pytest.approx(0.1, rel=0.01)
    assert np.ptp(drawn) == pytest.approx(2 * np.sqrt(3) * 0.1, rel=0.001)


def test_log_normal_prior_is_a_factor() -> None:
    assert LogNormal("k", 3.0, 0.5).value(np.array([0.0, 2.0])) == pytest.approx([3.0, 3 * np.e])


def test_unbounded_end_is_not_truncated() -> None:
    ends = np.array([-np.inf, np.inf])
    priors = (Normal("k", 0.0, 1.0), Normal("k", 3.0, 0.3, 0.0))
    line, bent = (bend((prior,))(ends[:, None])[0][:, 0] for prior in priors)
    assert line.tolist() == ends.tolist()
    # A positive quantity ends at 0: z = −centre / spread.
    assert bent[0] == pytest.approx(-10)
    assert bent[1] > 1e6


@given(st.floats(0.01, 3.0))
def test_wide_prior_reaches_its_lower_tail(relative: float) -> None:
    # A loss of 0.1 J ± 0.1 J may be as low as 0.01 J.
    prior = Normal("outlet.loss", 0.1, 0.1 * relative, 0.0)
    lowest = bend((prior,))(np.array([[-20.0]]))[0][0, 0]
    assert lowest < -4.0
    assert float(prior.value(np.array(lowest))) <= float(prior.value(np.array(-4.0)))

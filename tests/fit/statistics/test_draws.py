"""Importance sampling, its weights, and profile intervals, on densities that are known exactly."""

from __future__ import annotations

import numpy as np
import pytest
from arviz_stats.base import array_stats
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stager.fit.statistics.importance_sampling import (
    FREEDOM,
    TRUSTED,
    interval,
    moments,
    proposal,
    quantile,
    sample,
    smooth,
    threshold,
)
from stager.fit.statistics.least_squares import LeastSquares, minimise, profiles
from tests.fit.statistics.losses import Squares


def test_banana_shaped_target_has_the_exact_moments() -> None:
    # z2 | z1 ~ N(0.3 z1², 0.5²), z1 ~ N(0, 1): mean of z2 is 0.3, its variance 2·0.09 + 0.25.
    def log_density(z: np.ndarray) -> np.ndarray:
        return -0.5 * (z[:, 0] ** 2 + ((z[:, 1] - 0.3 * z[:, 0] ** 2) / 0.5) ** 2)

    rng = np.random.default_rng(4)
    drawn = sample(log_density, [(np.zeros(2), np.eye(2), 1.0)], rng, rounds=12, enough=2000.0)
    mean, spread = moments(drawn.place, drawn.weights)
    assert drawn.trusted
    assert mean == pytest.approx([0.0, 0.3], abs=0.08)
    assert np.diagonal(spread) == pytest.approx([1.0, 0.43], rel=0.15)


@given(st.lists(st.floats(-2, 2), min_size=9, max_size=9))
def test_proposal_has_the_scale_matrix_that_it_is_given(entries: list[float]) -> None:
    root = np.reshape(entries, (3, 3))
    scale = root @ root.T + 0.01 * np.eye(3)
    found = proposal(np.arange(3.0), scale, 0.4)
    assert found.root @ found.root.T == pytest.approx(scale, abs=1e-10)
    assert (found.centre.tolist(), found.share) == ([0.0, 1.0, 2.0], 0.4)


@pytest.mark.parametrize("size", [1, 2, 5])
def test_density_of_proposals_is_that_of_student_t_but_for_a_constant(size: int) -> None:
    rng = np.random.default_rng(size)
    place, off = rng.normal(size=(50, size)) * 3.0, []
    for share in (1.0, 0.2, 0.35):
        root, centre = rng.normal(size=(size, size)), rng.normal(size=size)
        scale = root @ root.T + 0.1 * np.eye(size)
        expected = stats.multivariate_t(centre, scale, df=FREEDOM).logpdf(place) + np.log(share)
        off.append(proposal(centre, scale, share).log_density(place) - expected)
    np.testing.assert_allclose(off, off[0][0], atol=1e-9)


def test_proposal_far_from_the_target_is_not_trusted() -> None:
    far = [(np.full(4, 6.0), 0.01 * np.eye(4), 1.0)]
    drawn = sample(lambda z: -0.5 * (z**2).sum(axis=1), far, np.random.default_rng(5), rounds=1)
    assert not drawn.trusted


def test_pareto_shape_separates_even_from_heavy_tailed_weights() -> None:
    rng = np.random.default_rng(6)
    even, wild = smooth(0.1 * rng.normal(size=2000)), smooth(rng.standard_exponential(2000) * 1.5)
    # exp of an exponential of mean 1.5 is Pareto with shape 1.5.
    assert even[1] < 0.3
    assert wild[1] > TRUSTED
    assert wild[0].sum() == pytest.approx(1.0)


@given(st.integers(30, 3000), st.floats(0.2, 20.0), st.integers(0, 2**32 - 1))
def test_pareto_smoothing_agrees_with_arviz(count: int, shape: float, seed: int) -> None:
    logs = np.random.default_rng(seed).standard_exponential(count) / shape
    weights, tail = smooth(logs)
    theirs, khat = array_stats.psislw(-logs, r_eff=1.0)  # takes log likelihoods, the negative log weights
    assert tail == pytest.approx(float(khat), abs=1e-9)
    np.testing.assert_allclose(weights, np.exp(theirs - np.logaddexp.reduce(theirs)), rtol=1e-9)


def test_threshold_of_the_pareto_shape_falls_with_few_draws() -> None:
    assert threshold(100) == pytest.approx(0.5)
    assert threshold(10_000) == 0.7


@settings(max_examples=8)
@given(st.integers(1, 7), st.floats(0.0, 0.5), st.integers(0, 2**32 - 1))
def test_bent_correlated_targets_have_the_exact_moments(size: int, bend: float, seed: int) -> None:
    # A correlated normal, bent along its first direction, whose exact moments are known.
    rng = np.random.default_rng(seed)
    root = np.eye(size) + 0.5 * np.tril(rng.normal(size=(size, size)), -1)

    def straight(place: np.ndarray) -> np.ndarray:
        z = place.copy()
        z[:, 1:] -= bend * (z[:, :1] ** 2 - 1)
        return np.linalg.solve(root, z.T).T

    drawn = sample(
        lambda place: -0.5 * (straight(place) ** 2).sum(axis=1), [(np.zeros(size), root @ root.T, 1.0)], rng
    )  # fmt: skip
    assert drawn.trusted
    assert drawn.effective >= 1000
    even = straight(drawn.place)
    mean, spread = moments(even, drawn.weights)
    np.testing.assert_allclose(mean, 0.0, atol=0.15)
    np.testing.assert_allclose(np.diagonal(spread), 1.0, rtol=0.2)


def test_second_distant_mode_is_found_or_draws_are_not_trusted() -> None:
    # A proposal at one of two modes may miss the other, but few draws of the other must not be trusted.
    rng = np.random.default_rng(3)

    def target(place: np.ndarray) -> np.ndarray:
        return np.logaddexp(-0.5 * (place**2).sum(axis=1), -0.5 * ((place - 5.0) ** 2).sum(axis=1))

    drawn = sample(target, [(np.zeros(2), np.eye(2), 1.0)], rng)
    mean, _ = moments(drawn.place, drawn.weights)
    assert not drawn.trusted or mean == pytest.approx([2.5, 2.5], abs=0.5)


def test_profile_interval_of_a_line() -> None:
    # y = a + b x with known scatter: the 95 % interval is ± 1.959964 standard deviations.
    x = np.linspace(0, 1, 9)
    y = 1 + 2 * x + 0.1 * np.sin(17 * x)
    problem = LeastSquares(
        residuals=lambda z: (y - z[:, :1] - z[:, 1:] * x) / 0.1, loss=Squares(),
        step=np.full(2, 1e-4),
    )  # fmt: skip
    found = minimise(problem, np.zeros((1, 2)), tolerance=1e-12)
    spread = np.sqrt(np.diagonal(np.linalg.inv(found.curvature[0])))
    best = found.place[0]
    for k, one in enumerate(profiles(problem, best, float(found.objective[0]), found.jacobian[0], found.curvature[0])):
        assert one == pytest.approx((best[k] - 1.959964 * spread[k], best[k] + 1.959964 * spread[k]), rel=1e-3)


def test_profile_interval_of_an_exponential_is_asymmetric() -> None:
    # One datum 1 ± 0.2 of exp(z): the likelihood's interval is ln(1 ± 0.2 · 1.959964).
    problem = LeastSquares(residuals=lambda z: (1 - np.exp(z)) / 0.2, loss=Squares(), step=np.full(1, 1e-5))
    found = minimise(problem, np.full((1, 1), 0.3), tolerance=1e-14)
    steps = np.linspace(-3, 3, 40)
    one = profiles(
        problem, found.place[0], float(found.objective[0]), found.jacobian[0], found.curvature[0], steps=steps
    )[0]
    assert one == pytest.approx((np.log(1 - 0.2 * 1.959964), np.log(1 + 0.2 * 1.959964)), abs=0.01)


def test_weighted_quantiles_and_interval() -> None:
    draws = np.array([3.0, 1.0, 2.0])
    assert quantile(draws, np.array([0.0, 0.5, 0.5]), np.array([0.5]))[0] == pytest.approx(1.5)
    # Of n draws the r-th has the expected share r/(n + 1) below it: r = 0.025 · 1002 = 25.05, counted from 1.
    assert interval(np.arange(1001.0)) == pytest.approx((24.05, 975.95))

"""Scatter of unknown size, integrated out: against plain quadrature over a wide, fine grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stager.fit.likelihood import SHARE_WEIGHTS, SHARES, WILD, Noise

NOISE = Noise()


def _exact(residuals: np.ndarray) -> tuple[float, float, np.ndarray]:
    """−ln evidence, mean of ln σ, and probabilities of outliers, by brute force."""
    steps = np.linspace(np.log(NOISE.least) - 6, np.log(50.0), 4001)
    sigma = np.hypot(np.exp(steps), NOISE.least)[:, None]
    logs = []
    wild_parts = []
    for share, weight in zip(SHARES, SHARE_WEIGHTS, strict=True):
        normal = (1 - share) * stats.norm.pdf(residuals, scale=sigma)
        wild = share * stats.t.pdf(residuals / (WILD * sigma), 2) / (WILD * sigma)
        logs.append(np.log(normal + wild).sum(axis=1) + np.log(weight))
        wild_parts.append(wild / (normal + wild))
    prior = stats.norm.logpdf(steps, np.log(NOISE.typical), NOISE.factor)
    height = np.stack(logs) + prior
    top = height.max()
    mass = np.exp(height - top)
    total = mass.sum()
    evidence = np.log(total * (steps[1] - steps[0])) + top
    chance = (mass[..., None] * np.stack(wild_parts)).sum(axis=(0, 1)) / total
    return -float(evidence), float((mass * np.log(sigma[:, 0])).sum() / total), chance


CASES = {
    "even": np.array([0.01, -0.02, 0.015, -0.005, 0.012, -0.018, 0.003, 0.008]),
    "half near zero": np.array([1e-6, -2e-6, 0.0, 3e-7, 0.03, -0.02, 0.025, -0.015]),
    "most near zero": np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.02, -0.03]),
    "large": np.array([0.9, -1.4, 2.2, -0.8]),
    "one wild": np.array([0.01, -0.01, 0.008, -0.012, 0.6]),
}


@pytest.mark.parametrize("name", CASES)
def test_marginal_likelihood_and_outliers(name: str) -> None:
    residuals = CASES[name]
    loss, logarithm, chance = _exact(residuals)
    assert NOISE(residuals[None])[0][0] == pytest.approx(loss, abs=0.02)
    assert np.log(NOISE.scatter(residuals)) == pytest.approx(logarithm, abs=0.02)
    np.testing.assert_allclose(NOISE.outlier_probability(residuals), chance, atol=0.01)


@settings(max_examples=40)
@given(st.integers(3, 80), st.floats(-9, 0), st.floats(0, 0.9), st.integers(0, 2**32 - 1))
def test_marginal_likelihood_of_any_residuals(count: int, size: float, zeros: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    residuals = np.exp(size) * rng.normal(size=count) * (rng.random(count) > zeros)
    assert NOISE(residuals[None])[0][0] == pytest.approx(_exact(residuals)[0], abs=0.05)


def test_weights_are_the_slope_of_the_loss() -> None:
    for residuals in CASES.values():
        step = 1e-6 * np.eye(residuals.size)
        slope = (NOISE(residuals + step)[0] - NOISE(residuals - step)[0]) / 2e-6
        np.testing.assert_allclose(NOISE(residuals[None])[1][0] * residuals, slope, rtol=0.02, atol=0.05)


def test_loss_has_no_steps() -> None:
    """Residuals that shrink together, some of them to nothing, move the loss smoothly."""
    shares = np.linspace(1.0, 0.0, 400)[:, None]
    path = np.where(np.arange(8) % 2, 1.0, shares) * CASES["even"]
    loss = NOISE(path)[0]
    assert np.abs(np.diff(loss, 2)).max() < 0.1

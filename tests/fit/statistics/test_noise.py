"""Marginal likelihood over unknown scatter against quadrature on a fine grid; outlier probabilities."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stager.fit import likelihood
from stager.fit.compare import inliers
from stager.fit.likelihood import (
    SHARE_WEIGHTS,
    SHARES,
    SPREAD_RATIOS,
    WILD,
    Noise,
    UnevenNoise,
    alike,
    noise_of,
    rounding_errors,
)
from stager.fit.optimiser import uneven
from stager.model.launcher import Launcher
from tests.drive.machines import launcher
from tests.recovery.bench import table

NOISE = Noise()


def _exact(residuals: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Return −ln evidence, mean of ln σ and outlier probabilities by quadrature."""
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
def test_marginal_likelihood_and_outliers_match_quadrature(name: str) -> None:
    residuals = CASES[name]
    loss, logarithm, chance = _exact(residuals)
    assert NOISE(residuals[None])[0][0] == pytest.approx(loss, abs=0.02)
    assert np.log(NOISE.scatter(residuals)) == pytest.approx(logarithm, abs=0.02)
    np.testing.assert_allclose(NOISE.outlier_probability(residuals), chance, atol=0.01)


@settings(max_examples=40)
@given(st.integers(3, 80), st.floats(-9, 0), st.floats(0, 0.9), st.integers(0, 2**32 - 1))
def test_marginal_likelihood_of_drawn_residuals(count: int, size: float, zeros: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    residuals = np.exp(size) * rng.normal(size=count) * (rng.random(count) > zeros)
    assert NOISE(residuals[None])[0][0] == pytest.approx(_exact(residuals)[0], abs=0.05)


def test_weights_are_the_slope_of_the_loss() -> None:
    for residuals in CASES.values():
        step = 1e-6 * np.eye(residuals.size)
        slope = (NOISE(residuals + step)[0] - NOISE(residuals - step)[0]) / 2e-6
        np.testing.assert_allclose(NOISE(residuals[None])[1][0] * residuals, slope, rtol=0.02, atol=0.05)


def test_loss_is_smooth() -> None:
    # The loss must vary smoothly as some residuals shrink to zero.
    shares = np.linspace(1.0, 0.0, 400)[:, None]
    path = np.where(np.arange(8) % 2, 1.0, shares) * CASES["even"]
    loss = NOISE(path)[0]
    assert np.abs(np.diff(loss, 2)).max() < 0.1


def test_weights_are_the_slope_of_the_loss_with_an_outlier() -> None:
    rng, h = np.random.default_rng(9), 1e-6
    residuals = 0.012 * rng.normal(size=30)
    residuals[3] = 0.2
    weights = NOISE(residuals[None])[1][0]
    for k in (0, 3):
        ends = [NOISE((residuals + s * h * np.eye(30)[k])[None])[0][0] for s in (1, -1)]
        assert (ends[0] - ends[1]) / (2 * h) == pytest.approx(weights[k] * residuals[k], rel=1e-4)


def test_scatter_and_outliers_are_found() -> None:
    rng = np.random.default_rng(10)
    residuals = 0.012 * rng.normal(size=400)
    residuals[[5, 50]] = 0.2, -0.15
    assert NOISE.scatter(residuals) == pytest.approx(0.012, rel=0.08)
    assert np.flatnonzero(NOISE.outlier_probability(residuals) > 0.5).tolist() == [5, 50]


def test_outliers_are_classified() -> None:
    rng = np.random.default_rng(11)
    errors = 0.012 * rng.normal(size=(300, 24))
    called = np.array([NOISE.outlier_probability(row) > 0.5 for row in errors])
    assert called.mean() < 0.003
    errors[:, :2] = 0.012 * rng.choice([-1, 1], (300, 2)) * rng.uniform(6, 20, (300, 2))
    called = np.array([NOISE.outlier_probability(row) > 0.5 for row in errors])
    assert called[:, :2].mean() > 0.99
    assert called[:, 2:].mean() < 0.01


EFFECT = np.linspace(0, 1, 40)
UNEVEN = UnevenNoise.by_mass(NOISE, np.ones(EFFECT.size), EFFECT)


def _spread(ratio: float, seed: int) -> np.ndarray:
    return 0.01 * np.hypot(1, ratio * EFFECT) * np.random.default_rng(seed).normal(size=EFFECT.size)


@pytest.mark.parametrize(("ratio", "likely"), [(0.0, SPREAD_RATIOS <= 1), (4.0, SPREAD_RATIOS >= 2)])
def test_uneven_noise_finds_the_spread_of_projectiles(ratio: float, likely: np.ndarray) -> None:
    chances = np.mean([UNEVEN.chances(_spread(ratio, seed)) for seed in range(20)], axis=0)
    assert chances.sum() == pytest.approx(1)
    assert chances[likely].sum() > 0.8


def test_uneven_noise_without_effect_of_mass_is_even() -> None:
    residuals = _spread(0.0, 1)
    plain = UnevenNoise.by_mass(NOISE, np.ones(residuals.size), np.zeros(residuals.size))
    assert plain.value(residuals[None])[0] == pytest.approx(NOISE.value(residuals[None])[0])
    assert plain.scatter(residuals) == pytest.approx(NOISE.scatter(residuals))


def _found(ratio: float, most: float) -> Any:
    """Return what a fit found of throws of which the first stops and the others lose up to `most` % for 1 % of mass."""
    machine = launcher()

    def speeds(changed: Launcher) -> Any:
        out = 12.0 * (changed.projectile.mass / machine.projectile.mass) ** (-most * EFFECT)
        out[:, 0] = 0.0
        return out

    stated = UnevenNoise(even=NOISE, sizes=np.ones((1, EFFECT.size)))
    return SimpleNamespace(
        law=SimpleNamespace(launcher=lambda scenario, values: machine), values={}, count=EFFECT.size, noise=stated,
        model=SimpleNamespace(scenario=None, exit_speed_of=speeds), residuals=_spread(ratio, 3),
    )  # fmt: skip


@pytest.mark.parametrize("most", [0.1, 0.4, 2.0])
def test_scatter_by_mass_follows_the_share_of_the_greatest_effect_on_exit_speed(most: float) -> None:
    found = uneven(_found(6.0, most))
    assert found is not None
    np.testing.assert_allclose(found.sizes, np.hypot(1.0, SPREAD_RATIOS[:, None] * EFFECT))


def test_scatter_is_even_where_mass_matters_little_or_residuals_do_not_show_it() -> None:
    assert uneven(_found(6.0, 0.04)) is None
    assert uneven(_found(0.0, 0.4)) is None


def test_weights_of_uneven_noise_are_the_slope_of_its_loss() -> None:
    residuals, step = _spread(4.0, 2), 1e-6
    _, weights = UNEVEN(residuals[None])
    moved = residuals + step * np.stack([np.eye(residuals.size), -np.eye(residuals.size)])
    ahead, behind = (UNEVEN.value(rows) for rows in moved)
    np.testing.assert_allclose(weights[0] * residuals, (ahead - behind) / (2 * step), rtol=2e-3, atol=0.05)


@given(st.integers(0, 2**32 - 1), st.integers(3, 30))
def test_noise_of_stated_sizes_is_even_noise_of_residuals_over_them(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    sizes, residuals = rng.uniform(0.3, 6.0, count), 0.02 * rng.normal(size=count)
    stated = UnevenNoise(even=NOISE, sizes=sizes[None])
    # The density of a residual is that of the quotient, divided by the size.
    expected = NOISE.value((residuals / sizes)[None])[0] + np.log(sizes).sum()
    assert stated.value(residuals[None])[0] == pytest.approx(expected)
    np.testing.assert_allclose(stated.relative(residuals), sizes)
    some = rng.random(count) < 0.7
    assert stated.chosen(some).value(residuals[some][None])[0] == pytest.approx(
        UnevenNoise(even=NOISE, sizes=sizes[some][None]).value(residuals[some][None])[0]
    )


def test_throws_that_disagree_with_others_at_their_setting_are_found() -> None:
    settings = np.array([0, 0, 0, 0, 1, 1, 1, 2, 2, 3])
    logs = np.array([1.0, 1.01, 0.995, 1.6, 2.0, 2.01, 1.99, 3.0, 3.01, 9.0])
    # One of four lies far off; a throw without a repeat has nothing to disagree with.
    agree = inliers(logs, settings, Noise())
    assert agree.tolist() == [True, True, True, False, *[True] * 6]
    # Of two throws that differ, neither is the odd one out.
    apart = inliers(np.where(np.arange(10) == 8, 4.0, logs), settings, Noise())
    assert apart[7] == apart[8]
    # Too few repeats to know the scatter.
    assert inliers(logs[[3, 0, 1, 9]], settings[[3, 0, 1, 9]], Noise()).all()


def test_error_by_the_instruments_resolution_of_each_throw() -> None:
    rng = np.random.default_rng(3)
    residuals = 0.004 * rng.normal(size=(3, 12))
    same = replace(NOISE, least=np.full(12, 0.002))
    one = replace(NOISE, least=0.002)
    assert same.value(residuals) == pytest.approx(one.value(residuals))
    assert same(residuals)[1] == pytest.approx(one(residuals)[1])
    assert same.scatter(residuals[0]) == pytest.approx(one.scatter(residuals[0]))
    assert same.outlier_probability(residuals[0]) == pytest.approx(one.outlier_probability(residuals[0]))
    # A throw that is read coarsely counts less, scatters more, and is no outlier where another one would be.
    coarse = replace(NOISE, least=np.where(np.arange(12) < 6, 0.02, 2e-4))
    assert coarse(residuals)[1][:, :6].max() < coarse(residuals)[1][:, 6:].min()
    assert coarse.relative(residuals[0])[0] > 2 * coarse.relative(residuals[0])[-1]
    far = np.where(np.isin(np.arange(12), (0, 6)), 0.045, residuals[0])
    first, other = coarse.outlier_probability(far)[[0, 6]]
    assert first < 0.5 < other
    rows = np.arange(12) > 3
    assert coarse.chosen(rows).value(residuals[:, rows]).shape == (3,)


def test_repeats_that_are_read_alike_have_the_rounding_error_of_one() -> None:
    throws = table(np.array([5.0, 5.0, 5.0, 5.0, 9.0])[:, None], np.array([4.9, 4.9, 4.9, 5.0, 8.7]))
    first, size = alike(throws)
    assert first.tolist() == [0, 3, 4]
    assert size.tolist() == [3, 3, 3, 1, 1]
    assert not rounding_errors(throws).any()
    step = 0.1 / throws.exit_speed
    errors = rounding_errors(replace(throws, step=step))
    assert errors == pytest.approx(step * np.sqrt(size / 12))
    # The mean of three equal readings is as uncertain as one of them.
    assert errors[0] / np.sqrt(3) == pytest.approx(step[0] / np.sqrt(12))
    assert noise_of(throws) is likelihood.NOISE
    assert noise_of(replace(throws, step=1e-4 * step)) is likelihood.NOISE

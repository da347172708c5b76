"""Tests of residuals keep their level and detect patterns, serial correlation and two groups."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stager.fit.likelihood import Noise
from stager.fit.statistics.hypothesis_tests import pattern_test, serial_correlation_test, two_groups_test
from stager.fit.statistics.least_squares import LeastSquares


def _fitted(rng: np.random.Generator, count: int, what: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fit a straight line to scatter plus `what`; return the residuals and the tangents of the line."""
    x = np.linspace(0, 1, count)
    tangents = np.column_stack([np.ones(count), x])
    values = rng.normal(size=count) + what
    return values - tangents @ np.linalg.lstsq(tangents, values, rcond=None)[0], tangents


def _following(left: np.ndarray, tangents: np.ndarray, patterns: np.ndarray) -> float:
    """Return the p value of `pattern_test` for residuals of a straight line without priors, in hundredths."""
    line = LeastSquares(
        residuals=lambda place: 0.01 * left - place @ tangents.T, loss=Noise(), step=np.full(tangents.shape[1], 1e-3)
    )
    best = np.zeros(tangents.shape[1])
    return pattern_test(line, best, tangents.shape[1], patterns)


def _bends(count: int) -> np.ndarray:
    x = np.linspace(-1, 1, count)
    return np.column_stack([x, x**2, x**3])


@pytest.mark.parametrize("count", [8, 12, 40])
def test_p_values_of_pure_scatter_are_uniform(count: int) -> None:
    rng = np.random.default_rng(0)
    found: dict[str, list[float]] = {"pattern_test": [], "serial_correlation_test": [], "two_groups_test": []}
    for _ in range(100):
        left, tangents = _fitted(rng, count, np.zeros(count))
        found["pattern_test"].append(_following(left, tangents, _bends(count)[:, 1:]))
        found["serial_correlation_test"].append(serial_correlation_test(left, tangents, rng))
        found["two_groups_test"].append(two_groups_test(left, rng)[0])
    for name, values in found.items():
        if name == "two_groups_test" and count < 12:
            assert set(values) == {1.0}
            continue
        assert stats.kstest(values, "uniform").pvalue > 1e-3, name


def test_bend_is_detected_by_structure() -> None:
    rng = np.random.default_rng(1)
    seen = [_following(*_residuals_with_a_bend(rng)) < 0.05 for _ in range(50)]
    assert np.mean(seen) > 0.9


def _residuals_with_a_bend(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    left, tangents = _fitted(rng, 20, 3 * np.linspace(-1, 1, 20) ** 2)
    return left, tangents, _bends(20)[:, 1:]


def test_wave_is_detected_by_runs() -> None:
    rng = np.random.default_rng(2)
    seen = []
    for _ in range(50):
        left, tangents = _fitted(rng, 40, 1.5 * np.sin(np.linspace(0, 25, 40)))
        seen.append(serial_correlation_test(left, tangents, rng) < 0.05)
    assert np.mean(seen) > 0.9


def test_two_groups_are_detected_but_not_one_outlier() -> None:
    rng = np.random.default_rng(3)
    kind = np.arange(30) % 2
    chance, which = two_groups_test(rng.normal(size=30) + 6.0 * kind, rng)
    assert chance < 0.01
    assert np.abs(which - kind).mean() < 0.1
    one = rng.normal(size=30)
    one[3] += 12
    assert two_groups_test(one, rng)[0] > 0.05


def test_structure_within_the_fitted_tangents_is_not_tested() -> None:
    rng = np.random.default_rng(4)
    left, tangents = _fitted(rng, 10, np.zeros(10))
    assert _following(left, tangents, tangents) > 0.9
    assert _following(left, tangents, np.zeros((10, 1))) == 1.0
    assert _following(left[:4], tangents[:4], _bends(4)) == 1.0

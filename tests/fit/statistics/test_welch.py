"""Welch's test on published data, and its extension over several settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume
from hypothesis import given as drawn
from hypothesis import strategies as st
from scipy import stats

from stager.fit.statistics.hypothesis_tests import PERMUTATIONS, Difference, by_settings, paired

# Student's sleep data (Cushny and Peebles 1905; as in Student, Biometrika 6, 1908): t, df and p as statistical packages
# print them: -1.8608, 17.776, 0.07939.
SLEEP = (
    np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]),
    np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]),
)
# Raw data of the documentation of scipy.stats.ttest_ind_from_stats.
SUMMARY = (
    np.array([1, 3, 4, 6, 11, 13, 15, 19, 22, 24, 25, 26, 26.0]),
    np.array([2, 4, 6, 9, 11, 13, 14, 15, 18, 19, 21.0]),
)
# A classroom's sleep deprivation scores.
DEPRIVED = (
    np.array([25.2, 14.5, -7, 12.6, 34.5, 45.6, 11.6, 18.6, 12.1, 30.5]),
    np.array([-10.7, 4.5, 2.2, 21.3, -14.7, -10.7, 9.6, 2.4, 21.8, 7.2, 10]),
)


def stratified(pairs: list[tuple[np.ndarray, np.ndarray]]) -> Difference | None:
    """Return the test of values of two builds at several settings, no value taken as an outlier."""
    sizes = [len(sample) for pair in pairs for sample in pair]
    first = np.repeat(np.tile([True, False], len(pairs)), sizes)
    settings = np.repeat(np.repeat(np.arange(len(pairs)), 2), sizes)
    return by_settings(np.concatenate([sample for pair in pairs for sample in pair]), first, settings, limit=np.inf)


def welch(first: np.ndarray, second: np.ndarray) -> Difference:
    """Return the test at one setting."""
    found = stratified([(first, second)])
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("samples", "t", "freedom", "probability"),
    [
        (SLEEP, -1.860813, 17.776474, 0.0793941),
        (SUMMARY, 0.9358461936, 20.98461123, 0.3599981869),
        (DEPRIVED, 2.685145, 17.556628, 0.0153484),
    ],
)
def test_welch_of_published_samples(
    samples: tuple[np.ndarray, np.ndarray], t: float, freedom: float, probability: float
) -> None:
    found = welch(*samples)
    assert found.t == pytest.approx(t, rel=1e-6)
    assert found.freedom == pytest.approx(freedom, rel=1e-6)
    assert found.probability == pytest.approx(probability, rel=1e-5)


def test_interval_of_the_sleep_data() -> None:
    # The 95 % interval that goes with t and df above.
    assert welch(*SLEEP).interval == pytest.approx((-3.365483, 0.205483), abs=1e-6)


def test_stratified_test_pools_the_scatter_of_settings() -> None:
    # The same samples at two settings: the difference stays, the degrees of freedom double.
    first, second = SUMMARY
    one, two = welch(first, second), stratified([(first, second), (first + 100, second + 100)])
    assert two is not None
    assert two.value == pytest.approx(one.value)
    assert two.standard_uncertainty == pytest.approx(one.standard_uncertainty / np.sqrt(2), rel=0.02)
    assert two.freedom == pytest.approx(2 * one.freedom, rel=0.1)


def test_single_throws_at_every_setting_give_no_test() -> None:
    assert stratified([(np.ones(1), np.ones(1))] * 5) is None


@drawn(st.integers(3, 12), st.integers(3, 12), st.floats(0.2, 5.0), st.integers(0, 2**32 - 1))
def test_welch_agrees_with_scipy(one: int, two: int, ratio: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    first, second = rng.normal(size=one), ratio * rng.normal(size=two)
    found, theirs = welch(first, second), stats.ttest_ind(first, second, equal_var=False)
    assert found.t == pytest.approx(float(theirs.statistic), rel=1e-6)
    assert found.freedom == pytest.approx(float(theirs.df), rel=1e-6)


@drawn(st.lists(st.tuples(st.floats(-9, 9), st.floats(-9, 9)), min_size=3, max_size=6))
def test_paired_test_of_single_throws_agrees_with_scipy(pairs: list[tuple[float, float]]) -> None:
    one, two = np.array(pairs).T
    settings, first = np.tile(np.arange(len(pairs)), 2), np.repeat([True, False], len(pairs))
    assume(np.std(one - two) > 1e-3)
    found = paired(np.concatenate([one, two]), first, settings)
    theirs = stats.ttest_rel(one, two)
    assert found is not None
    assert found.probability == pytest.approx(float(theirs.pvalue), rel=1e-6)
    assert found.interval == pytest.approx(tuple(theirs.confidence_interval(0.95)), rel=1e-6, abs=1e-9)
    # With two settings in common there is one degree of freedom, too few.
    assert paired(np.concatenate([one[:2], two]), first[len(pairs) - 2 :], settings[[0, 1, *range(len(pairs))]]) is None


def test_outlier_hardly_changes_the_difference() -> None:
    rng = np.random.default_rng(0)
    settings, first = np.repeat(np.arange(5), 6), np.tile([True, False], 15)
    values = rng.normal(size=30) + settings
    wild = values.copy()
    wild[3] += 40
    clean, tamed = by_settings(values, first, settings), by_settings(wild, first, settings)
    assert clean is not None
    assert tamed is not None
    assert tamed.value == pytest.approx(clean.value, abs=1.5 * clean.standard_uncertainty)
    assert tamed.standard_uncertainty < 1.5 * clean.standard_uncertainty


def test_shared_drift_is_removed() -> None:
    rng = np.random.default_rng(1)
    settings, first = rng.permutation(np.repeat(np.arange(5), 6)), np.tile([True, False], 15)
    order = np.arange(30.0)
    values = 0.1 * rng.normal(size=30) + settings + 3 * order / 30
    plain, steady = by_settings(values, first, settings), by_settings(values, first, settings, order)
    assert plain is not None
    assert steady is not None
    assert steady.standard_uncertainty < 0.3 * plain.standard_uncertainty
    assert abs(steady.value) < 3 * steady.standard_uncertainty


def test_p_value_of_builds_far_apart_is_the_least_that_the_exchanges_can_give() -> None:
    # (b + 1)/(m + 1) with b = 0 of m exchanges as far apart: Phipson and Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010).
    rng = np.random.default_rng(3)
    first = np.tile([True, False], 20)
    values = 5.0 * first + rng.normal(size=40)
    values[7] = 300.0
    found = by_settings(values, first, np.zeros(40, int))
    assert found is not None
    assert found.probability == pytest.approx(1 / (1 + PERMUTATIONS), rel=1e-12)
    low, high = found.interval
    assert 0 < low < found.value < high


@pytest.mark.parametrize("apart", [0.0, 0.1])
def test_builds_that_do_not_scatter_give_no_test(apart: float) -> None:
    # The only throw that differs is left out as an outlier, and what remains has no scatter to compare with.
    settings, first = np.repeat(np.arange(4), 10), np.tile([True, False], 20)
    values = np.log(11.5 + apart * first)
    assert paired(values, first, settings) is None
    values[7] = 300.0
    assert by_settings(values, first, settings) is None


@pytest.mark.parametrize(("throws", "settings"), [(4, 1), (2, 6), (3, 6)])
@pytest.mark.parametrize("step", [0.1, 0.2])
def test_equal_builds_that_a_chronograph_rounds_seldom_differ(throws: int, settings: int, step: float) -> None:
    rng, wrong, few = np.random.default_rng(throws), 0, 100
    which = np.repeat(np.arange(settings), 2 * throws)
    first = np.tile(np.repeat([True, False], throws), settings)
    for _ in range(few):
        speeds = rng.uniform(8, 14, settings)[which] * np.exp(0.003 * rng.normal(size=which.size))
        shown = np.round(speeds / step) * step
        tests = [test(np.log(shown), first, which, step=step / shown) for test in (by_settings, paired)]
        for found in tests:
            if found is not None:
                # No interval is narrower than two throws without scatter would make it by rounding alone.
                least = step / shown.max() * np.sqrt(2 / 12 / (throws * settings))
                assert found.standard_uncertainty > 0.99 * least
        wrong += tests[0] is not None and tests[0].probability < 0.05
    assert wrong < 0.05 * few + 3 * np.sqrt(0.05 * 0.95 * few)


def test_builds_a_step_apart_are_not_certain_to_differ() -> None:
    shown = np.array([11.5] * 3 + [11.6] * 3)
    found = by_settings(np.log(shown), shown < 11.55, np.zeros(6, int), step=0.1 / shown)
    assert found is not None
    assert found.probability > 1e-3

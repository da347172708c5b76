"""Slope among covariates, Holm's correction, AICc."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stager.fit.statistics.hypothesis_tests import Collinear, aicc, exact_test, holm, slope


@given(st.integers(1, 30), st.integers(1, 30), st.data())
def test_exact_test_agrees_with_scipy(size: int, others: int, data: st.DataObject) -> None:
    one, two = data.draw(st.integers(0, size)), data.draw(st.integers(0, others))
    expected = stats.fisher_exact([[one, size - one], [two, others - two]]).pvalue
    assert exact_test(one, size, one + two, size + others) == pytest.approx(float(expected), rel=1e-6)


def test_slope_with_a_constant_is_simple_regression() -> None:
    # Anscombe's first set (The American Statistician 27, 1973): slope 0.5001, standard error 0.1179, t 4.241.
    x = np.array([10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5.0])
    y = np.array([8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68])
    found, left = slope(y, x, np.ones((11, 1)))
    assert found.value == pytest.approx(0.5001, abs=1e-4)
    assert found.standard_uncertainty == pytest.approx(0.1179, abs=1e-4)
    assert found.t == pytest.approx(4.241, abs=1e-3)
    assert found.freedom == 9
    assert left == pytest.approx(1.0)


def test_slope_of_a_column_within_the_covariates_is_refused() -> None:
    x = np.arange(6.0)
    with pytest.raises(Collinear, match="with the settings"):
        slope(x**2, x, np.column_stack([np.ones(6), 2 * x]))


def test_holm_correction_of_a_hand_worked_example() -> None:
    # Worked by hand: sorted 0.01, 0.02, 0.04 times 3, 2, 1.
    assert holm([0.02, 0.04, 0.01]) == pytest.approx([0.04, 0.04, 0.03])


def test_aicc_of_a_hand_worked_example() -> None:
    # 2·10 + 2·3 + 2·3·4/(12 − 4).
    assert aicc(10.0, 3, 12) == pytest.approx(29.0)
    assert aicc(10.0, 3, 4) == math.inf

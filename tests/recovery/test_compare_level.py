"""False and true claims of `compare`: a seeded part of tests/benchmarks/comparing.py."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from tests.benchmarks.comparing import DESIGNS, rate

RUNS = 150


@pytest.mark.parametrize("design", DESIGNS)
def test_false_claims_stay_at_the_5_percent_level(design: str) -> None:
    claims = round(rate(DESIGNS[design], RUNS, seed=11) * RUNS)
    assert binomtest(claims, RUNS, 0.05, alternative="greater").pvalue > 0.005


def test_2_percent_difference_is_found_with_6_times_3_throws() -> None:
    assert rate(DESIGNS["equal"], 60, seed=12, difference=0.02) > 0.8

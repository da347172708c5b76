"""A small, seeded part of the study in tests/benchmarks/comparing.py."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from tests.benchmarks.comparing import DESIGNS, rate

RUNS = 150


@pytest.mark.parametrize("way", DESIGNS)
def test_level_is_kept_however_it_was_measured(way: str) -> None:
    claims = round(rate(DESIGNS[way], RUNS, seed=11) * RUNS)
    assert binomtest(claims, RUNS, 0.05, alternative="greater").pvalue > 0.005


def test_two_per_cent_are_found_with_six_times_three_throws() -> None:
    assert rate(DESIGNS["equal"], 60, seed=12, difference=0.02) > 0.8

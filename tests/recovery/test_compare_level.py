"""A small, seeded part of the study in tests/benchmarks/comparing.py."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from tests.benchmarks.comparing import WAYS, rate

RUNS = 150


@pytest.mark.parametrize("way", WAYS)
def test_level_is_kept_however_it_was_measured(way: str) -> None:
    claims = round(rate(WAYS[way], RUNS, seed=11) * RUNS)
    assert binomtest(claims, RUNS, 0.05, alternative="greater").pvalue > 0.005


def test_two_per_cent_are_found_with_six_times_three_throws() -> None:
    assert rate(WAYS["equal"], 60, seed=12, difference=0.02) > 0.8

"""A small, seeded part of the study in tests/benchmarks/recovery.py."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.benchmarks.recovery import one
from tests.recovery.bench import Plan, Score, recover, scenario

STUDIED = (6,)
"""Benches of the study: 40 throws of a pair at 0.9 % with outliers."""

# Ball, hollow ball, rod and disc; pair and rail; friction constant, falling, bell and tabulated. The study
# tests/benchmarks/prediction.py has more of each.
KINDS = ("seed_ball", "table_tennis", "streamer", "constant_pair", "bell_pair", "tabulated_disc", "hollow_rail")


@cache
def recovered(name: str) -> list[Score]:
    # What is asked of a maker's evening: 24 throws at 1.2 % across the grip limit.
    plan = Plan(noise=0.012, throws=24, outliers=0.0)
    return recover(scenario(name), plan, np.random.default_rng([2, len(name)]))[1]


def test_intervals_hold_the_truth() -> None:
    benches = [*(one((number, 1))[3] for number in STUDIED), *(recovered(name) for name in KINDS)]
    scores = [score for bench in benches for score in bench]
    inside = sum(score.inside for score in scores)
    # Two of each bench are of its second stage; the others are parameters that its throws have told.
    assert len(scores) >= 3 * len(benches)
    # A two-sided binomial test at 0.1 % against 95 %, as the study applies it to its rows.
    assert binomtest(inside, len(scores), 0.95).pvalue > 0.001


@pytest.mark.parametrize("name", KINDS)
def test_a_second_stage_is_foretold_from_one(name: str) -> None:
    second = [score for score in recovered(name) if score.name.startswith("second stage")]
    assert len(second) == 2
    for score in second:
        assert abs(score.error) < 0.05
        assert score.width < 0.25

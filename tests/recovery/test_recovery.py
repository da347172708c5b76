"""Coverage of intervals and prediction of a second stage: a seeded part of tests/benchmarks/recovery.py."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.benchmarks.recovery import one
from tests.recovery.bench import Plan, Score, recover, scenario

STUDIED = (6,)
"""Numbers of benches of the study: 40 throws of a pair at 0.9 % scatter with outliers."""

# Ball, rod and disc; pair and rail; friction falling and tabulated. The study tests/benchmarks/prediction.py has
# more of each.
KINDS = ("seed_ball", "streamer", "tabulated_disc")


@cache
def recovered(name: str) -> list[Score]:
    # A typical session: 24 throws at 1.2 % scatter across the grip limit.
    plan = Plan(noise=0.012, throws=24, outliers=0.0)
    return recover(scenario(name), plan, np.random.default_rng([2, len(name)]))[1]


def test_95_percent_intervals_cover_the_truth() -> None:
    benches = [*(one((number, 1, ""))[3] for number in STUDIED), *(recovered(name) for name in KINDS)]
    scores = [score for bench in benches for score in bench]
    inside = sum(score.inside for score in scores)
    # Each bench has two scores of the second stage; the others are identified parameters.
    assert len(scores) >= 3 * len(benches)
    # A two-sided binomial test at 0.1 % against 95 %, as the study applies it to its rows.
    assert binomtest(inside, len(scores), 0.95).pvalue > 0.001


@pytest.mark.parametrize("name", KINDS)
def test_second_stage_is_predicted_from_throws_of_one(name: str) -> None:
    second = [score for score in recovered(name) if score.name.startswith("second stage")]
    assert len(second) == 2
    for score in second:
        assert abs(score.error) < 0.05
        assert score.width < 0.25

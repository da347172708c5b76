"""False claims on identical builds: a seeded part of tests/benchmarks/false_alarms.py."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.recovery.alarms import DESIGNS, one_pair
from tests.recovery.bench import scenario


@pytest.mark.parametrize(
    ("design", "pairs"), [("one setting, 8 throws", 60), ("6 settings, 3 throws", 60), ("own settings", 20)]
)
def test_false_claims_on_identical_builds_and_drift(design: str, pairs: int) -> None:
    given = scenario("constant_pair")
    found = [one_pair(given, DESIGNS[design], np.random.default_rng([3, number])) for number in range(pairs)]
    claims = sum(claim for claim, _, _ in found)
    assert binomtest(claims, pairs, 0.05).pvalue > 0.001
    drifting = [claim for _, _, looked in found for claim in looked]
    assert binomtest(sum(drifting), len(drifting), 0.05).pvalue > 0.001

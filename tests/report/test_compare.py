"""The verdict of a comparison of builds and its advice."""

from __future__ import annotations

import numpy as np
import pytest

from stager.fit.compare import Compared, compare
from stager.report.compare import _headline, next_steps
from tests.recovery.bench import Plan, measure, scenario, table

GIVEN = scenario("constant_pair")
SPEEDS = np.repeat(np.linspace(8, 20, 6), 3)[:, None]


def _compared(factor: float, *, interleaved: bool, noise: float = 0.01) -> Compared:
    rng = np.random.default_rng(0)
    plan = Plan(noise=noise, throws=18, outliers=0.0)
    exits = [measure(GIVEN, GIVEN.launcher, SPEEDS, plan, rng).exit_speed * one for one in (1.0, factor)]
    names = np.repeat(["A", "B"], 18)
    order = rng.permutation(36) if interleaved else np.arange(36)
    speeds, both = np.concatenate([SPEEDS, SPEEDS])[order], np.concatenate(exits)[order]
    return compare(GIVEN, table(speeds, both, names[order].tolist()), ("A", "B"), rng)


def test_interleaved_throws_attribute_the_difference_to_the_builds() -> None:
    found = _compared(0.95, interleaved=True)
    assert _headline(found).startswith("A and B differ: A throws")
    assert not found.apart
    message = " ".join(next_steps(found))
    assert any(word in message for word in ("easure the gap", "eigh ten", "lean wheels", "ress both"))


def test_throws_in_blocks_cannot_separate_build_from_time() -> None:
    found = _compared(0.95, interleaved=False)
    assert found.apart
    assert _headline(found).startswith("A and B, or the time between them, differ by")
    assert "take turns" in next_steps(found)[0]


@pytest.mark.parametrize("noise", [0.005, 0.05])
def test_no_difference_states_the_detectable_one(noise: float) -> None:
    found = _compared(1.0, interleaved=True, noise=noise)
    assert not found.different
    message = " ".join(next_steps(found))
    assert ("could have been missed" in message) == (noise > 0.02)

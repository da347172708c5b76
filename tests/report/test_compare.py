"""What a comparison says, and what to do next."""

from __future__ import annotations

import numpy as np
import pytest

from stager.fit.compare import Compared, compare
from stager.report.compare import _headline, next_steps
from tests.recovery.bench import Plan, measure, scenario, table

GIVEN = scenario("constant_pair")
SPEEDS = np.repeat(np.linspace(8, 20, 6), 3)[:, None]


def _compared(factor: float, *, turns: bool, noise: float = 0.01) -> Compared:
    rng = np.random.default_rng(0)
    plan = Plan(noise=noise, throws=18, outliers=0.0)
    exits = [measure(GIVEN, GIVEN.launcher, SPEEDS, plan, rng).exit_speed * one for one in (1.0, factor)]
    names = np.repeat(["A", "B"], 18)
    order = rng.permutation(36) if turns else np.arange(36)
    speeds, both = np.concatenate([SPEEDS, SPEEDS])[order], np.concatenate(exits)[order]
    return compare(GIVEN, table(speeds, both, names[order].tolist()), ("A", "B"), rng)


def test_turns_taken_the_builds_differ() -> None:
    found = _compared(0.95, turns=True)
    assert _headline(found).startswith("A and B differ: A throws")
    assert not found.apart
    said = " ".join(next_steps(found))
    assert any(word in said for word in ("easure the gap", "eigh ten", "lean wheels", "ress both"))


def test_one_build_first_it_may_be_the_time() -> None:
    found = _compared(0.95, turns=False)
    assert found.apart
    assert _headline(found).startswith("A and B, or the time between them, differ by")
    assert "take turns" in next_steps(found)[0]


@pytest.mark.parametrize("noise", [0.005, 0.05])
def test_no_difference_says_what_would_not_have_shown(noise: float) -> None:
    found = _compared(1.0, turns=True, noise=noise)
    assert not found.different
    said = " ".join(next_steps(found))
    assert ("would not have shown" in said) == (noise > 0.02)

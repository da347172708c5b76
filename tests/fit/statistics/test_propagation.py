"""JCGM 101:2008, 9.2: the additive model."""

from __future__ import annotations

import numpy as np
import pytest

from stager.fit.statistics.propagation import propagate, tolerance

HALF = np.sqrt(3.0)


def _normal(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.normal(size=(count, 4)).sum(axis=1)


def _rectangular(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.uniform(-HALF, HALF, size=(count, 4)).sum(axis=1)


@pytest.mark.parametrize(("model", "end"), [(_normal, 3.92), (_rectangular, 3.88)])
def test_additive_model(model: object, end: float) -> None:
    # 9.2.2 and 9.2.3: four inputs of mean 0 and standard deviation 1, u(y) = 2.00, 95 % intervals ±3.92 and ±3.88.
    found = propagate(model, np.random.default_rng(1), digits=3)  # type: ignore[arg-type]
    assert found.settled
    assert found.mean == pytest.approx(0, abs=0.005)
    assert found.standard_uncertainty == pytest.approx(2.0, abs=0.005)
    assert found.interval == pytest.approx((-end, end), abs=0.01)


def test_more_digits_take_more_trials() -> None:
    trials = [propagate(_normal, np.random.default_rng(2), digits=digits).trials for digits in (1, 2, 3)]
    assert trials[0] <= trials[1] < trials[2]


def test_it_says_when_it_has_not_settled() -> None:
    found = propagate(_normal, np.random.default_rng(3), digits=5, most=100_000)
    assert not found.settled
    assert found.trials == 100_000


def test_tolerance() -> None:
    # JCGM 101, 7.9.2, note: u = 0.00035 g to two digits is 35 × 10⁻⁵, so the tolerance is ½ × 10⁻⁵.
    assert tolerance(0.00035, 2) == pytest.approx(0.5e-5)

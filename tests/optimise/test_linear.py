"""Linear programmes of a step of the search against `scipy.optimize.linprog`."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from stager.optimise.linear import minimise

FEASIBLE = 1e-6
"""The solver keeps limits to 1e-7."""


@given(seed=st.integers(0, 2**32 - 1), size=st.integers(1, 20), count=st.integers(0, 9))
def test_programmes_have_the_value_that_scipy_finds(seed: int, size: int, count: int) -> None:
    """As a step has them: bounded variables, limits, and for each of these a violation that costs."""
    rng = np.random.default_rng(seed)
    cost = np.concatenate([rng.normal(size=size), rng.uniform(1.0, 100.0, count)])
    rows = np.hstack([rng.normal(size=(count, size)), -np.eye(count)])
    most = rng.normal(size=count)
    ends = np.concatenate([rng.uniform(0.0, 0.1, size), np.full(count, np.inf)])
    found = minimise(cost, rows, most, ends)
    known = linprog(cost, A_ub=rows if count else None, b_ub=most if count else None,
                    bounds=np.column_stack([np.zeros(size + count), ends]), method="highs")  # fmt: skip
    assert found is not None
    assert cost @ found.x == pytest.approx(known.fun, abs=1e-5)
    assert (found.x >= -FEASIBLE).all()
    assert (found.x <= ends + FEASIBLE).all()
    assert (rows @ found.x <= most + FEASIBLE).all()
    # Marginals tell what a looser bound gives: the value is as good as by duality.
    reduced = cost - found.prices @ rows
    dual = found.prices @ most + np.where(reduced < 0.0, reduced * np.minimum(ends, 1e9), 0.0).sum()
    assert dual == pytest.approx(known.fun, abs=1e-4)


def test_a_programme_without_an_optimum_has_none() -> None:
    """Nothing bounds a variable that pays, and nothing satisfies x ≤ −1 with x ≥ 0."""
    one = np.ones(1)
    assert minimise(-one, np.zeros((0, 1)), np.zeros(0), np.full(1, np.inf)) is None
    assert minimise(one, np.ones((1, 1)), -one, one) is None

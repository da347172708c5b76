"""Friction laws by themselves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.model.contact import FrictionLaw
from stager.physics.friction import Bell, Constant, Falling, Tabulated
from tests.oracle.friction import coefficient

LAWS = (
    Constant(0.4), Falling(0.8, 0.2, 6.0), Falling(0.2, 0.5, 6.0, 1.7), Bell(0.9, 3.0, 1.2),
    Tabulated((0.5, 2.0, 6.0, 12.0), (0.3, 0.9, 0.4, 0.7)),
)  # fmt: skip


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
@given(top=st.floats(0.01, 40.0))
def test_greatest_is_that_of_all_slips_up_to_it(law: FrictionLaw, top: float) -> None:
    samples = np.concatenate([[0.0], np.geomspace(1e-6, 1.0, 400), np.linspace(1e-3, 1.0, 400)]) * top
    found = float(law.greatest(np.array([top]))[0])
    values = law.coefficient(samples)[0]
    assert found >= values.max() - 1e-12
    assert found == pytest.approx(values.max(), rel=2e-4)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
@given(slip=st.floats(1e-3, 40.0))
def test_coefficient_is_that_of_the_formula_and_slope_its_derivative(law: FrictionLaw, slip: float) -> None:
    value, slope = law.coefficient(np.array([slip]))
    formula = coefficient(law)
    assert float(value[0]) == pytest.approx(formula(slip), rel=1e-9)
    assert law.coefficient(np.array([slip]), steep=False)[0] == value
    step = 1e-5 * slip
    near = [abs(slip - knot) < 3 * step for knot in getattr(law, "slip", ())]
    if not any(near):
        assert float(slope[0]) == pytest.approx((formula(slip + step) - formula(slip - step)) / (2 * step), abs=1e-5)

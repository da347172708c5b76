"""Friction laws: formula, slope, maximum, and laws that are not registered."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stager.model.arrays import Floats
from stager.model.launcher import FrictionLaw
from stager.model.stage import IDLER, PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.friction import REGISTERED, Bell, Constant, Falling, Law, Rising, Tabulated
from tests.oracle.friction import coefficient
from tests.physics.machines import launcher

LAWS = (
    Constant(0.4), Falling(0.8, 0.2, 6.0), Falling(0.2, 0.5, 6.0, 1.7), Bell(0.9, 3.0, 1.2),
    Tabulated((0.5, 2.0, 6.0, 12.0), (0.3, 0.9, 0.4, 0.7)), Rising(0.3, 0.8, 4.0),
)  # fmt: skip


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
@given(top=st.floats(0.01, 40.0))
def test_greatest_is_the_maximum_over_smaller_slips(law: FrictionLaw, top: float) -> None:
    samples = np.concatenate([[0.0], np.geomspace(1e-6, 1.0, 400), np.linspace(1e-3, 1.0, 400)]) * top
    found = float(law.greatest(np.array([top]))[0])
    values = law.coefficient(samples)[0]
    assert found >= values.max() - 1e-12
    assert found == pytest.approx(values.max(), rel=2e-4)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
@given(slip=st.floats(1e-3, 40.0))
def test_coefficient_matches_the_formula_and_slope_its_derivative(law: FrictionLaw, slip: float) -> None:
    value, slope = law.coefficient(np.array([slip]))
    formula = coefficient(law)
    assert float(value[0]) == pytest.approx(formula(slip), rel=1e-9)
    assert law.coefficient(np.array([slip]), with_slope=False)[0] == value
    step = 1e-5 * slip
    near = [abs(slip - knot) < 3 * step for knot in getattr(law, "slip", ())]
    if not any(near):
        assert float(slope[0]) == pytest.approx((formula(slip + step) - formula(slip - step)) / (2 * step), abs=1e-5)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
def test_laws_with_equal_values_are_equal(law: Law) -> None:
    assert replace(law) == law
    assert law.scaled(2.0) != law


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name}")
@settings(max_examples=30)
@given(slip=st.floats(0.0, 20.0))
def test_scaled_law_gives_multiples_of_coefficient_and_slope(law: Law, slip: float) -> None:
    found, twice = law.coefficient(np.array([slip])), law.scaled(2.0)
    for value, one in zip(twice.coefficient(np.array([slip])), found, strict=True):
        assert value == pytest.approx(2 * one)
    # Kernels take the formula and its values.
    for number, one in zip(twice.formulas[twice.formula](slip, twice.values()), found, strict=True):
        assert number == pytest.approx(2 * one[0])


class UnregisteredLaw:
    """An unregistered law that wraps a registered one."""

    name = "unregistered"

    def __init__(self, like: Falling) -> None:
        self.like = like

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        return self.like.coefficient(slip, with_slope=with_slope)

    def greatest(self, slip: Floats) -> Floats:
        return self.like.greatest(slip)


@pytest.mark.parametrize("like", [Falling(0.7, 0.2, 9.0), Falling(0.9, 0.3, 4.0, 2.0)], ids=str)
@pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
def test_unregistered_law_throws_like_the_registered_one(like: Falling, layout: Layout) -> None:
    speeds = np.linspace(4.0, 25.0, 9)[:, None]
    known, made = (
        throw(launcher(layout=layout, law=law, inertia=4e-5, crush=2e-3, creep=0.1), speeds)
        for law in (like, UnregisteredLaw(like))
    )
    assert made.exit_speed == pytest.approx(known.exit_speed, rel=1e-7)
    assert made.stages.slip_heat == pytest.approx(known.stages.slip_heat, rel=1e-6)


@pytest.mark.parametrize("law", REGISTERED, ids=lambda law: law.name)
def test_registered_laws_document_their_parameters(law: type[Law]) -> None:
    assert law.source
    assert law.formulas
    for item in fields(law):  # type: ignore[arg-type]
        if item.init and law is not Tabulated:
            assert {"key", "unit", "low", "high", "help"} <= set(item.metadata)
            assert item.metadata["low"] < item.metadata["high"]


def test_law_that_does_not_tell_its_greatest_coefficient_cannot_be_made() -> None:
    # The bound rests on it: such a law must not get as far as a plan.
    class Incomplete(Law):
        __slots__ = ()

    with pytest.raises(TypeError, match="greatest"):
        Incomplete()  # type: ignore[abstract]

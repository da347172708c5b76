"""Ranges of quantities: both ends are accepted or refused as declared, and no value outside is accepted."""

from __future__ import annotations

import math
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from stager.config import field_types
from stager.config.field_types import Kind
from stager.units import Measured

KINDS: dict[str, Kind] = {
    name: found
    for name, annotated in vars(field_types).items()
    for found in get_args(annotated)[1:]
    if type(found) is Kind
}
UNITS = {"N/m^n": "N/m"}


def accepted(kind: Kind, value: float) -> bool:
    try:
        kind.read(Measured(value, unit=UNITS.get(kind.unit, kind.unit)))
    except PydanticCustomError:
        return False
    return True


def ends(kind: Kind) -> tuple[tuple[float, bool], tuple[float, bool]]:
    """Return the lower and upper end of the range [SI units], each with whether it is included."""
    scale = 1e3 if kind.unit == "N/m^n" else 1.0
    low = (kind.above, False) if kind.above >= kind.at_least * scale else (kind.at_least * scale, True)
    high = (kind.below, False) if kind.below <= kind.at_most * scale else (kind.at_most * scale, True)
    return low, high


def test_more_than_50_kinds_of_quantities_exist() -> None:
    assert len(KINDS) > 50


@pytest.mark.parametrize("name", KINDS)
def test_ends_of_a_range_are_accepted_as_declared(name: str) -> None:
    (low, low_in), (high, high_in) = ends(KINDS[name])
    assert math.isfinite(low)
    assert math.isfinite(high)
    assert accepted(KINDS[name], low) == low_in
    assert accepted(KINDS[name], high) == high_in
    assert not accepted(KINDS[name], math.nextafter(low, -math.inf))
    assert not accepted(KINDS[name], math.nextafter(high, math.inf))
    assert accepted(KINDS[name], math.nextafter(low, math.inf))
    assert accepted(KINDS[name], math.nextafter(high, -math.inf))


@pytest.mark.parametrize("name", KINDS)
@given(data=st.data())
def test_values_are_accepted_within_the_range_only(name: str, data: Any) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    width = high - low
    value = data.draw(st.floats(low - width, high + width))
    found = kind.read(Measured((low + high) / 2, unit=UNITS.get(kind.unit, kind.unit)))
    inside = low < value < high
    assert accepted(kind, value) or not inside
    assert bool(found.holds(value)) or not inside
    assert not accepted(kind, value) or low <= value <= high
    assert not found.holds(value) or low <= value <= high


@pytest.mark.parametrize("name", KINDS)
def test_uncertainty_wider_than_the_range_is_refused(name: str) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    for spread, valid in ((high - low, True), (2 * (high - low), False)):
        found = Measured((low + high) / 2, standard_uncertainty=spread, unit=UNITS.get(kind.unit, kind.unit))
        try:
            kind.read(found)
        except PydanticCustomError:
            assert not valid
        else:
            assert valid


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if math.isfinite(kind.above)])
def test_zero_is_refused_as_not_above_zero(name: str) -> None:
    """The end 0 is named in words that hold for every unit, not the smallest value accepted."""
    kind = KINDS[name]
    for value in (kind.above, math.nextafter(kind.above, -math.inf)):
        with pytest.raises(PydanticCustomError, match="must be above"):
            kind.read(Measured(value, unit=UNITS.get(kind.unit, kind.unit)))

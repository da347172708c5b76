"""Every quantity has a range whose ends are taken or refused as the schema says, and no number lies outside unseen."""

from __future__ import annotations

import math
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from stager.config import field_types
from stager.config.field_types import Kind
from stager.units.text import Measured

KINDS: dict[str, Kind] = {
    name: found
    for name, annotated in vars(field_types).items()
    for found in get_args(annotated)[1:]
    if type(found) is Kind
}
UNITS = {"N/m^n": "N/m"}


def taken(kind: Kind, value: float) -> bool:
    try:
        kind.read(Measured(value, unit=UNITS.get(kind.unit, kind.unit)))
    except PydanticCustomError:
        return False
    return True


def ends(kind: Kind) -> tuple[tuple[float, bool], tuple[float, bool]]:
    """The lowest and highest end of the range [SI], and whether each belongs to it."""
    scale = 1e3 if kind.unit == "N/m^n" else 1.0
    low = (kind.above, False) if kind.above >= kind.at_least * scale else (kind.at_least * scale, True)
    high = (kind.below, False) if kind.below <= kind.at_most * scale else (kind.at_most * scale, True)
    return low, high


def test_kinds_are_found() -> None:
    assert len(KINDS) > 50


@pytest.mark.parametrize("name", KINDS)
def test_a_range_ends_where_it_says(name: str) -> None:
    (low, low_in), (high, high_in) = ends(KINDS[name])
    assert math.isfinite(low)
    assert math.isfinite(high)
    assert taken(KINDS[name], low) == low_in
    assert taken(KINDS[name], high) == high_in
    assert not taken(KINDS[name], math.nextafter(low, -math.inf))
    assert not taken(KINDS[name], math.nextafter(high, math.inf))
    assert taken(KINDS[name], math.nextafter(low, math.inf))
    assert taken(KINDS[name], math.nextafter(high, -math.inf))


@pytest.mark.parametrize("name", KINDS)
@given(data=st.data())
def test_what_a_range_holds_is_what_is_read(name: str, data: Any) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    width = high - low
    value = data.draw(st.floats(low - width, high + width))
    found = kind.read(Measured((low + high) / 2, unit=UNITS.get(kind.unit, kind.unit)))
    inside = low < value < high
    assert taken(kind, value) or not inside
    assert bool(found.holds(value)) or not inside
    assert not taken(kind, value) or low <= value <= high
    assert not found.holds(value) or low <= value <= high


@pytest.mark.parametrize("name", KINDS)
def test_an_uncertainty_is_no_wider_than_the_range(name: str) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    for spread, fine in ((high - low, True), (2 * (high - low), False)):
        found = Measured((low + high) / 2, standard_uncertainty=spread, unit=UNITS.get(kind.unit, kind.unit))
        try:
            kind.read(found)
        except PydanticCustomError:
            assert not fine
        else:
            assert fine

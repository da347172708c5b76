"""Formatting of numbers and words in screens."""

from __future__ import annotations

import math

import pytest

from stager.report.numbers import digits, listing, percent, plural, signed, speed


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.3456, "12.3"),
        (1234.5, "1234"),
        (0.00012345, "0.000123"),
        (9.9996, "10.0"),
        (-0.5, "-0.500"),
        (1e-7, "1.00e-07"),
        (0.0, "0"),
        (None, "-"),
        (math.nan, "-"),
        (math.inf, "unlimited"),
    ],
)
def test_number_is_rounded_to_three_significant_digits(value: float | None, text: str) -> None:
    assert digits(value) == text


def test_speeds_shares_plurals_and_lists_are_formatted() -> None:
    assert speed(-0.001) == "0.00"
    assert percent(0.0795) == "8.0 %"
    assert [signed(share) for share in (0.0123, -0.2, -0.0001, math.nan)] == ["+1.2 %", "-20.0 %", "0.0 %", "-"]
    assert [plural(n, "stage") for n in (0, 1, 2)] == ["0 stages", "1 stage", "2 stages"]
    assert listing(["a", "b", "c"]) == "a, b and c"

"""Text figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.report.terminal import Marked, Ranges, TextCurve, nice

X = np.linspace(0.0, 40.0, 81)
Y = np.where(X < 20, X / 2, 10.0 - (X - 20) / 10)
PEAK = TextCurve(title="", x=X, y=Y, marked=Marked(x=20.0, words="grip limit 20.00", interval=(18.0, 22.0)))


def test_curve_marks_are_at_their_values() -> None:
    lines = PEAK.lines(83)
    body, (axis, numbers, words) = lines[:-3], lines[-3:]
    left = axis.index("+") + 1
    column = axis.index("^")
    assert column - left == round((len(axis) - left - 1) / 2)
    top = next(line for line in body if line.strip().startswith("10 "))
    assert top[column] == "*"
    assert all(line[column] in ":*" for line in body)
    assert axis[column - 4 : column + 5] == "[===^===]"
    assert numbers.split() == ["0", "10", "20", "30", "40"]
    assert numbers.index("20") in (column - 1, column)
    assert abs(words.index("grip limit 20.00") + 8 - column) <= 1


def test_measured_points_are_drawn_over_the_curve() -> None:
    points = (np.array([10.0, 35.0]), np.array([5.0, 8.5]))
    lines = TextCurve(title="", x=X, y=Y, low=Y - 1, high=Y + 1, points=points).lines(80)
    assert sum(line.count("o") for line in lines) == 2
    assert any("." in line for line in lines)


def test_ranges_are_drawn_to_scale() -> None:
    rows = (("1", 8.0, 10.0, 13.0, ""), ("2", 14.0, 14.0, 14.0, "+40 %"))
    first, second, axis, numbers = Ranges(title="", rows=rows).lines(60)
    scale = (numbers.index("15") + 0.5 - axis.index("+") - 1) / 15
    for line, places in ((first, (8.0, 10.0, 13.0)), (second, (14.0,))):
        marks = [k - 3 for k, mark in enumerate(line) if mark in "|o" and k > 2]
        assert marks == pytest.approx([place * scale for place in places], abs=1.5)
    assert second.endswith(" +40 %")


@given(st.integers(30, 200), st.floats(0.01, 1e4), st.floats(0.0, 1e4))
def test_lines_fit_the_width_in_ascii(width: int, top: float, high: float) -> None:
    x = np.linspace(0.0, top, 11)
    marked = Marked(x=top / 3, words="here it is", interval=(0.0, top))
    pictures = (
        TextCurve(title="", x=x, y=x * high / top, marked=marked, points=(x, x)),
        Ranges(title="", rows=(("a", 0.0, high / 2, high, "behind"),)),
    )
    for picture in pictures:
        lines = picture.lines(width)
        assert all(len(line) <= width and line.isascii() for line in lines)


@given(st.floats(1e-6, 1e6), st.integers(2, 8))
def test_axis_ticks_cover_the_range(high: float, count: int) -> None:
    ticks = nice(0.0, high, count)
    assert ticks[0] == 0
    assert ticks[-1] >= high * (1 - 1e-6)
    assert 2 <= len(ticks) <= count + 2


def test_curve_of_zeros_is_drawn() -> None:
    assert TextCurve(title="", x=np.array([0.0, 1.0]), y=np.zeros(2)).lines(40)

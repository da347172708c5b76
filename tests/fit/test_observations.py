"""Measured throws beside the exit speeds that the configuration predicts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.fit.prediction import observations
from stager.fit.table.throws import SURFACE, Wheels
from stager.physics.chain import throw
from tests.recovery.bench import scenario, table

NAN = np.nan


def test_observations_of_a_stage_are_the_throws_that_end_with_it() -> None:
    given = scenario("seed_ball")
    speeds = np.array([[10.0, NAN], [10.0, 14.0], [NAN, 14.0], [12.0, 15.0]])
    throws = table(speeds, np.array([9.0, 12.0, 8.0, 0.0]))
    first, second = observations(given, throws, 0), observations(given, throws, 1)
    assert first.throws.line.tolist() == [2]
    assert second.throws.line.tolist() == [3, 5]
    none = observations(given, throws, 2)
    assert none.throws.line.tolist() == []
    assert none.side_a.shape == none.side_b.shape == (0, 3)
    assert none.drawn(np.zeros(2), np.zeros(2)).shape == (0, 2)
    exact = throw(given.launcher, speeds[[1, 3]]).exit_speed
    np.testing.assert_allclose(second.expected, exact)
    # The last throw jammed and has no relative difference.
    np.testing.assert_allclose(second.difference, [12.0 / exact[0] - 1, NAN])
    np.testing.assert_array_equal(second.side_b, second.side_a)


def test_curve_shows_throws_with_the_same_earlier_stages() -> None:
    given = scenario("seed_ball")
    speeds = np.array([[10.0, 14.0], [10.2, 15.0], [11.0, 14.0], [10.0, 13.0], [10.0, 16.0]])
    throws = table(speeds, np.array([12.0, 13.0, 12.5, 0.0, 13.5]))
    apart = np.array([NAN, NAN, NAN, NAN, 12.0])
    side_b = Wheels(stage=1, side=1, reading=SURFACE, values=apart)
    found = observations(given, replace(throws, wheels=(*throws.wheels, side_b)), 1)
    before = np.array([10.0])
    # All but the third are within 3 % of 10 m/s; the last one has two different wheel speeds.
    assert found.on_curve(before, before).tolist() == [True, True, False, True, False]
    # The fourth jammed.
    assert found.drawn(before, before).tolist() == [[14.0, 12.0], [15.0, 13.0]]
    assert found.expected[4] == pytest.approx(
        float(throw(given.launcher, np.array([10.0, 16.0]), np.array([10.0, 12.0])).exit_speed)
    )

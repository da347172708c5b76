"""Values of a throw that its wheels do not allow."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.fit.table.writer import INSTRUMENT_ERROR, doubts
from stager.model.projectile import DISC, RING, ROD, Projectile
from stager.model.stage import PAIR, RAIL
from tests.drive.machines import launcher


@pytest.mark.parametrize("layout, share", [(PAIR, 0.5), (RAIL, 1.0)], ids=["pair", "rail"])
def test_ball_that_grips_is_at_most_as_fast_as_the_tilt_at_first_contact_allows(layout: Any, share: float) -> None:
    # Radii 40 and 19 mm, crush 4 mm: along the barrel v = u/cos φ with cos φ = (R + r − crush of the side)/(R + r).
    machine = launcher(layout=layout, drive=None)
    most = 12.0 * 0.059 / (0.059 - share * 0.004)
    assert not doubts(machine, {0: 8.0, 1: 12.0}, most * (1 + INSTRUMENT_ERROR) * (1 - 1e-9))
    found = doubts(machine, {0: 8.0, 1: 12.0}, most * (1 + INSTRUMENT_ERROR) * (1 + 1e-9))
    assert found.most == pytest.approx(most)
    assert found.beyond == ()


@pytest.mark.parametrize("shape", [DISC, RING, ROD], ids=["disc", "ring", "rod"])
def test_other_projectile_is_at_most_as_fast_as_the_fastest_wheel_or_the_feed(shape: Any) -> None:
    sizes = {"length": 0.1} if shape is ROD else {"thickness": 0.01}
    other = Projectile(shape=shape, mass=0.01, diameter=0.06, **sizes)
    machine = replace(launcher(layout=RAIL, drive=None, feed=2.0), projectile=other)
    tilted = 0.07 / 0.066 if shape.rolls else 1.0
    assert not doubts(machine, {0: 10.0}, 10.29 * tilted)
    assert doubts(machine, {0: 10.0}, 10.31 * tilted).most == pytest.approx(10.0 * tilted)
    assert doubts(machine, {0: 0.5}, 2.07).most == 2.0
    assert not doubts(machine, {0: 0.5}, 2.05)


def test_wheels_faster_than_their_motors_reach_are_doubtful() -> None:
    # 14.8 V at 1400 rpm/V, wheels of 40 mm: less than 86.8 m/s.
    most = 14.8 * 1400 * 2 * np.pi / 60 * 0.04
    assert not doubts(launcher(), {0: 0.8 * most}, 1.0).beyond
    found = doubts(launcher(), {0: 10.0, 1: 1.04 * most}, 1.0)
    ((stage, reached),) = found.beyond
    assert stage == 2
    assert 0.8 * most < reached < most
    assert found

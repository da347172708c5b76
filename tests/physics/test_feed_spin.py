"""Spin of the projectile at the first nip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.stage import RAIL
from stager.physics.chain import throw
from tests.drive.machines import launcher

SPEEDS = np.array([8.0, 11.0])


def test_feed_spin_is_the_entry_spin() -> None:
    machine = launcher(layout=RAIL)
    fed = replace(machine, feed=replace(machine.feed, spin=40.0))
    assert throw(fed, SPEEDS).exit_speed == throw(machine, SPEEDS, entry_spin=40.0).exit_speed
    assert throw(fed, SPEEDS[:0]).spin == 40.0


def test_rolling_entry_raises_exit_speed_on_a_rail() -> None:
    # Our own simulations: a spinless feed onto a rail costs 2-14 % of the exit speed of a slipping throw.
    machine = launcher(layout=RAIL)
    rolling = float(machine.feed.speed / machine.projectile.radius)
    fed = replace(machine, feed=replace(machine.feed, spin=rolling))
    gained = float(throw(fed, SPEEDS[:1]).exit_speed / throw(machine, SPEEDS[:1]).exit_speed) - 1
    assert 0 < gained < 0.14


def test_feed_spin_may_be_an_array() -> None:
    machine = launcher(layout=RAIL)
    fed = replace(machine, feed=replace(machine.feed, spin=np.array([0.0, 40.0])))
    both = throw(fed, np.broadcast_to(SPEEDS, (2, 2))).exit_speed
    assert both[0] == pytest.approx(float(throw(machine, SPEEDS).exit_speed), rel=1e-9)
    assert both[1] != both[0]

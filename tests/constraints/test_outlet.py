"""Limits on the exit apply behind the outlet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.constraints import OperatingPoint, evaluate_limits, exit_cap
from stager.model.launcher import Outlet
from stager.model.requirements import LimitValues
from stager.physics.chain import throw
from tests.constraints.machines import FULL, limit_values

LOSS = 0.05


def _values(loss: float) -> dict[str, float]:
    machine = replace(FULL, outlet=Outlet(loss=loss))
    point = OperatingPoint(
        launcher=machine, limit_values=limit_values(), throw=throw(machine, np.array([12.0])),
    )  # fmt: skip
    return {one.name: float(one.value) for one in evaluate_limits(point)}


def test_exit_limits_use_the_speed_behind_the_outlet() -> None:
    without, behind = _values(0.0), _values(LOSS)
    assert behind["exit_energy"] == pytest.approx(without["exit_energy"] - LOSS)
    assert behind["toy"] == pytest.approx(without["toy"] - LOSS)
    share = behind["exit_energy"] / without["exit_energy"]
    assert behind["exit_speed"] == pytest.approx(without["exit_speed"] * share**0.5)
    assert behind["energy_per_area"] == pytest.approx(without["energy_per_area"] * share)
    for name in ("slip_heat", "acceleration", "wheel_speed"):
        assert behind[name] == without[name]


def test_exit_speed_cap_follows_an_uncertain_outlet_loss() -> None:
    loss = np.array([0.0, 0.1, 0.4])
    machine = replace(FULL, outlet=Outlet(loss=loss))
    mass = machine.projectile.mass
    cap = exit_cap(machine, LimitValues(exit_energy=1.0, stages=1))
    assert cap == pytest.approx(np.sqrt(2 * (1.0 + loss) / mass), rel=1e-6)

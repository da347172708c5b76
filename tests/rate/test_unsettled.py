"""Throws at a rate that do not settle: their state is not known, so no limit on it is called kept or broken."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import OperatingPoint, evaluate_limits, not_judged
from stager.constraints.drives import duty
from stager.constraints.limit import NOT_SETTLED
from stager.model.launcher import Scenario
from stager.model.requirements import Aim, Goal, LimitValues
from stager.optimise.judge import judge_settings
from stager.optimise.records import Settings
from stager.physics import rate
from stager.physics.chain import throw
from stager.physics.rate import highest_rate, settled
from stager.report import drives
from tests.drive.machines import DRIVE, HEAT, launcher

SPEEDS = np.array([8.0, 11.0])
MACHINE = launcher(drive=replace(DRIVE, heat=HEAT), rate=4.0, session=600.0)
LIMITS_AT_RATE = LimitValues(
    exit_energy=8.0, settled_loss=0.5, average_power=1e4, winding_temperature=500.0, exit_speed=40.0
)
SETTLES = {"settled_loss", "average_power", "winding_temperature"}


@pytest.fixture
def restless(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no search for a settled state converge."""
    search = rate.settle_samples

    def unconverged(low: int, high: int, *given: Any) -> int:
        lost = search(low, high, *given)
        given[FOUND][low:high] = 0.0
        return lost

    monkeypatch.setattr(rate, "settle_samples", unconverged)


FOUND = 19
"""Place of the argument `found` of `settle_samples` behind the first two."""


@pytest.mark.usefixtures("restless")
def test_state_without_convergence_is_nan() -> None:
    found = settled(MACHINE, np.array([2.0, 4.0]), np.tile(SPEEDS, (2, 1)))
    assert found is not None
    assert found.unsettled.all()
    energies = found.energies
    for value in (found.loss, found.average_power, energies.copper, energies.no_load, energies.charge):
        assert np.isnan(value).all()
    highest = highest_rate(MACHINE, 0.05, SPEEDS)
    assert highest == 0.0


@pytest.mark.usefixtures("restless")
def test_limits_on_throws_that_do_not_settle_are_not_judged() -> None:
    point = OperatingPoint(launcher=MACHINE, limit_values=LIMITS_AT_RATE, throw=throw(MACHINE, SPEEDS))
    found = {one.name: one.missing for one in not_judged(point)}
    assert found.pop("tyre_turning") == "stage.wheel.tyre.hub_friction"
    assert found == dict.fromkeys(SETTLES, NOT_SETTLED)
    assert not SETTLES & {one.name for one in evaluate_limits(point)}
    scenario = Scenario(
        title="", launcher=MACHINE, limit_values=LIMITS_AT_RATE, goal=Goal(aim=Aim.FASTEST), values={}, uncertain=(),
        realise=lambda given: MACHINE,
    )  # fmt: skip
    many = judge_settings(scenario, np.tile(SPEEDS, (2, 1)))
    assert many.unjudged.all()
    assert (many.slack > 0).all()


@pytest.mark.usefixtures("restless")
def test_holding_the_wheels_alone_may_break_a_limit_of_throws_that_do_not_settle() -> None:
    little = replace(LIMITS_AT_RATE, average_power=1.0)
    point = OperatingPoint(launcher=MACHINE, limit_values=little, throw=throw(MACHINE, SPEEDS))
    assert [one.name for one in evaluate_limits(point) if not one.satisfied] == ["average_power"]


@pytest.mark.usefixtures("restless")
def test_screens_say_that_throws_do_not_settle() -> None:
    point = OperatingPoint(launcher=MACHINE, limit_values=LIMITS_AT_RATE, throw=throw(MACHINE, SPEEDS))
    content = drives.settled(point)
    assert content is not None
    assert (content["exit_speed_m_s"], content["loss_fraction"]) == (None, None)
    assert "does not settle" in drives.settled_note(content)[0]
    found = duty(point)
    assert found is not None
    assert found.missing == NOT_SETTLED
    summary = drives.summary(MACHINE, found)
    assert summary["at_rate"] is None
    assert "does not settle" in " ".join(drives.notes(summary))
    settings = Settings(
        wheel_speed=SPEEDS, wheel_speed_b=None, spin=0.0, design=point, exit_speed=1.0, verdicts=(), length=1.0
    )
    assert settings.average_power is None

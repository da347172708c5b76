"""Many settings judged at once against each of them alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.optimise import judge
from stager.optimise.judge import judge_settings, settings_at
from stager.physics.wheel import WHEEL_MATERIALS
from tests.optimise.machines import HEAVY, launcher, scenario, stage

WHEEL = replace(HEAVY.template.wheel, material=WHEEL_MATERIALS["aluminium"], width=0.02, bore=0.005)
KNOWN = launcher(HEAVY.projectile, replace(stage(), wheel=WHEEL))
SPEEDS = np.column_stack([np.linspace(4.0, 30.0, 9), np.linspace(12.0, 25.0, 9)])


@pytest.mark.parametrize("limits", [{}, {"slip_heat": 1.0, "acceleration": 5000.0}, {"grip_margin": 0.05}])
def test_settings_are_judged_as_each_of_them_alone(limits: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    given = scenario(KNOWN, exit_energy=2.0, wheel_speed=20.0, **limits)
    monkeypatch.setattr(judge, "CHUNK", 4)
    found = judge_settings(given, SPEEDS)
    for row, speeds in enumerate(SPEEDS):
        alone = settings_at(given, speeds)
        worst = min(alone.verdicts, key=lambda result: float(result.slack))
        assert found.exit_speed[row] == pytest.approx(alone.exit_speed, rel=1e-3)
        assert bool(found.jammed[row]) == bool(alone.throw.jammed)
        assert found.limit[row] == worst.name
        assert found.slack[row] == pytest.approx(float(worst.slack), abs=2e-3)
    assert not found.unjudged.any()


def test_one_limit_that_lacks_an_input_leaves_a_setting_unjudged() -> None:
    known, unknown = (judge_settings(scenario(KNOWN, **more), SPEEDS) for more in ({}, {"mass": 3.0}))
    assert not known.unjudged.any()
    assert unknown.unjudged.all()
    # What is known is judged all the same.
    assert unknown.slack == pytest.approx(known.slack)
    assert unknown.limit.tolist() == known.limit.tolist()

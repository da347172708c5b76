"""Many settings judged at once against each of them alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.optimise import judge
from stager.optimise.judge import JUDGED, judge_settings, settings_at
from stager.optimise.problem import Problem
from stager.physics.chain import throw
from stager.physics.wheel import WHEEL_MATERIALS
from tests.optimise.machines import CLOSE, FOAM, GUIDED, HEAVY, MIXED, launcher, scenario, stage

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


@pytest.mark.parametrize("machine", [FOAM, GUIDED, MIXED, CLOSE], ids=["foam", "guided", "mixed", "close"])
def test_search_throws_as_the_whole_chain_does(machine: Launcher) -> None:
    problem = Problem(scenario(machine, wheel_speed=60.0), 3)
    lead = np.random.default_rng(1).uniform(2.0, 40.0, (40, 3))
    found, whole = problem.look_at(lead), throw(machine, lead, options=JUDGED)
    assert np.array_equal(found.jammed, whole.jammed)
    assert found.lead == pytest.approx(lead)
    assert found.exit_speed == pytest.approx(whole.exit_speed, rel=1e-4)
    # The same settings by their variables.
    assert problem.look(found.x).exit_speed == pytest.approx(whole.exit_speed, rel=1e-4)


def test_one_limit_that_lacks_an_input_leaves_a_setting_unjudged() -> None:
    known, unknown = (judge_settings(scenario(KNOWN, **more), SPEEDS) for more in ({}, {"mass": 3.0}))
    assert not known.unjudged.any()
    assert unknown.unjudged.all()
    # What is known is judged all the same.
    assert unknown.slack == pytest.approx(known.slack)
    assert unknown.limit.tolist() == known.limit.tolist()

"""The entry speed of a swept stage against the throw through the whole chain."""

from __future__ import annotations

import pytest

from stager.optimise.sweep import sweep
from stager.physics.chain import throw
from tests.optimise.machines import GUIDED, HEAVY, scenario


@pytest.mark.parametrize("machine", [GUIDED, HEAVY], ids=["guide that brakes", "free"])
def test_swept_stage_is_entered_as_in_the_whole_chain(machine: object) -> None:
    task = scenario(machine, stages=2, wheel_speed=40.0)  # type: ignore[arg-type]
    found = sweep(task, 1, [(12.0, 12.0)])
    assert not found.coupled
    place = len(found.wheel_speed) // 2
    wheel = found.wheel_speed[place]
    whole = throw(task.launcher, [12.0, wheel])  # type: ignore[arg-type]
    assert found.entry_speed == pytest.approx(float(whole.stages.entry_speed[1]), rel=1e-6)
    assert found.exit_speed[place] == pytest.approx(float(whole.exit_speed), rel=1e-9)

"""Maps stay within the range of wheel speeds: between their entries an interpolated end may lie above it."""

from __future__ import annotations

import numpy as np
import pytest
from stager.optimise.aims import aimed_speed
from stager.optimise.chain_map import ChainMap

from stager.model.stage import RAIL
from tests.optimise.machines import SEED, launcher, scenario, stage


@pytest.mark.parametrize("margin", [0.0, 0.05])
def test_no_chain_of_the_maps_runs_above_the_range(margin: float) -> None:
    task = scenario(launcher(SEED, stage(layout=RAIL)), wheel_speed=40.0, grip_margin=margin, stages=2)
    maps = ChainMap(task.launcher, task.limit_values, 2, aimed_speed(task))
    settings = np.random.default_rng(2).uniform(0.5, 1.0, (400, 2))
    settings[:200] = np.column_stack([settings[:200, 0], np.ones(200)])
    assert (maps.run(settings).wheel_speed <= 40.0).all()

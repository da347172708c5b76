"""The best settings for each number of stages."""

from __future__ import annotations

import numpy as np

from stager.hardware.scenario import Scenario
from stager.limits import GEOMETRY, Design, judge
from stager.physics.relay import overlapping
from stager.staging.aims import aimed_speed, task
from stager.staging.chain_map import ChainMap
from stager.staging.coupled import restrain
from stager.staging.joint import JointChains
from stager.staging.records import Settings
from stager.staging.settle import judged, settle, with_grips
from stager.staging.solve import Chains
from stager.staging.span import span
from stager.staging.still import idle


def climb(scenario: Scenario) -> list[Settings]:
    """The best settings for 0, 1, 2 … stages, as many as what is built may hold and as get the projectile through."""
    most = most_stages(scenario)
    bare = judged(scenario, [np.zeros(0)])
    if most == 0:
        return bare
    chains = chains_of(scenario, most)
    climbers = settle(scenario, chains, range(1, most + 1), task(scenario))
    for climber in climbers:
        restrain(scenario, chains, climber)
    return [*bare, *with_grips(scenario, chains, climbers)]


def chains_of(scenario: Scenario, most: int) -> Chains:
    """What is searched for up to `most` stages: maps, or the true model where neighbours act at once."""
    launcher, allowances = scenario.launcher, scenario.allowances
    maps = ChainMap(launcher, allowances, most, aimed_speed(scenario))
    top = np.atleast_1d(span(launcher, allowances, 0).top)
    together = most > 1 and overlapping(launcher, most, top)
    return JointChains(launcher, maps) if together else maps


def most_stages(scenario: Scenario) -> int:
    """How many stages the limits on what is built allow."""
    for count in range(scenario.allowances.stages + 1):
        design = Design(launcher=scenario.launcher, allowances=scenario.allowances, throw=idle(count))
        found = [judge(limit, design) for limit in GEOMETRY]
        if any(verdict is not None and verdict.slack < 0 for verdict in found):
            return max(count - 1, 0)
    return scenario.allowances.stages

"""The best settings for each number of stages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.errors import InputError
from stager.model.scenario import Scenario
from stager.optimise.aims import aimed_speed, task
from stager.optimise.chain_map import ChainMap
from stager.optimise.choose import broken_by
from stager.optimise.coupled import restrain
from stager.optimise.joint import JointChains
from stager.optimise.records import Settings
from stager.optimise.settle import Climber, judged, settle, with_grips
from stager.optimise.solve import Chains
from stager.optimise.span import span
from stager.optimise.spun import most_spin
from stager.physics.layout import overlapping

CLEARLY = 1.2
TOGETHER = "stages that hold the projectile together are not set to a spin yet"
FARTHER = "a clearance or pitch that lets it leave one stage before it enters the next, or leave spin out"


@dataclass(frozen=True, slots=True)
class Climbed:
    """settings: the best for 0, 1, 2 … stages; chains: what was searched, None where there may be no stage; climbers:
    how each but the first was found."""

    settings: list[Settings]
    chains: Chains | None
    climbers: list[Climber]


def climb(scenario: Scenario, seen: Callable[[float], None] | None = None) -> Climbed:
    """The best settings for 0, 1, 2 … stages, as many as what is built may hold and as get the projectile through.

    seen: see `settle`; called before with the greatest wheel speed [m/s], which nothing leaves much faster than.
    """
    most = most_stages(scenario)
    bare = judged(scenario, [np.zeros(0)])
    if most == 0 or _spins_too_little(scenario):
        return Climbed(bare, None, [])
    if seen is not None:
        seen(max(float(np.max(span(scenario.launcher, scenario.limit_values, k).top)) for k in range(most)))
    # One stage more than is allowed, for what it would be worth.
    chains = chains_of(scenario, most + 1)
    climbers = settle(scenario, chains, range(1, most + 1), task(scenario), seen)
    for climber in climbers:
        restrain(scenario, chains, climber)
    return Climbed([*bare, *with_grips(scenario, chains, climbers)], chains, climbers)


def _spins_too_little(scenario: Scenario) -> bool:
    """Whether a spin is asked for that is clearly more than a first stage makes."""
    spin, top = abs(scenario.goal.spin or 0.0), span(scenario.launcher, scenario.limit_values, 0).top
    return spin > 0 and spin > CLEARLY * most_spin(scenario.launcher, float(np.max(top)))


def chains_of(scenario: Scenario, most: int) -> Chains:
    """What is searched for up to `most` stages: maps, or the true model where neighbours act at once."""
    launcher, limit_values = scenario.launcher, scenario.limit_values
    spin = scenario.goal.spin
    maps = ChainMap(launcher, limit_values, most, aimed_speed(scenario), spin)
    top = np.atleast_1d(span(launcher, limit_values, 0).top)
    together = most > 1 and overlapping(launcher, most, top)
    if together and spin:
        raise InputError(TOGETHER, where="goal.spin", hint=FARTHER)
    return JointChains(launcher, maps) if together else maps


def most_stages(scenario: Scenario) -> int:
    """How many stages the limits on what is built allow."""
    allowed = scenario.limit_values.stages
    return next((max(count - 1, 0) for count in range(allowed + 1) if broken_by(scenario, count)), allowed)

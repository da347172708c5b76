"""The wheel speeds whose exit speed, the one asked for, varies least from launcher to launcher."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.choose import REACHED
from stager.optimise.climb import Climbed
from stager.optimise.records import Settings
from stager.optimise.settle import judged
from stager.optimise.solve import Chains
from stager.optimise.spread import Crowd, crowd
from stager.optimise.trust import Trial, improve

DRAWS = 64
SLOWEST = 0.6
BAND = 2e-4
CLEARLY = 0.02
MARGIN = 2e-4


def steadiest(scenario: Scenario, found: Climbed, rng: np.random.Generator) -> tuple[Settings | None, float, float]:
    """The steadiest settings that leave at the speed asked for; the spread of their exit speed, and that of the fewest
    stages with the least heat, as standard deviations over the asked speed. None where none is found."""
    asked = scenario.goal.exit_speed
    fits = [each for each in found.settings if asked and each.feasible and each.exit_speed >= asked * (1 - REACHED)]
    if asked is None or found.chains is None or not fits:
        return None, 0.0, 0.0
    people = crowd(scenario, DRAWS, rng) if scenario.uncertain or scenario.draws else None
    if people is None or fits[0].count == 0:
        return fits[0], 0.0, 0.0
    best, least = fits[0], _spread(people, fits[0], asked)
    plain = least
    for each in fits:
        for settings in _steadied(scenario, found.chains, people, each, asked):
            spread = _spread(people, settings, asked)
            # More stages must be clearly steadier.
            if settings.feasible and spread < least * (1 - (CLEARLY if settings.count > best.count else 0)):
                best, least = settings, spread
    return best, least, plain


def _steadied(scenario: Scenario, chains: Chains, people: Crowd, start: Settings, asked: float) -> Sequence[Settings]:
    """What is steadiest with so many stages, from the settings with the least heat."""
    low, high = SLOWEST * start.wheel_speed, np.fmin(start.wheel_speed / SLOWEST, _tops(scenario, start))
    trial = _trial(scenario, chains, people, asked)
    found = improve(trial, start.wheel_speed, low, high, radius=0.1, rounds=12)
    return judged(scenario, [found.point]) if found.kept else ()


def _tops(scenario: Scenario, start: Settings) -> Floats:
    from stager.optimise.span import span

    return np.array([float(span(scenario.launcher, scenario.limit_values, k).top) for k in range(start.count)])


def _trial(scenario: Scenario, chains: Chains, people: Crowd, asked: float) -> Trial:
    limit_values, projectile = scenario.limit_values, scenario.launcher.projectile

    def trial(speeds: Floats) -> tuple[Floats, Floats]:
        done = people.throw(speeds)
        nominal = done.exit_speed[:, 0]
        slacks = [nominal / asked - (1 - BAND), 1 + BAND - nominal / asked]
        if limit_values.slip_heat is not None:
            slacks.append(1 - MARGIN - done.stages.slip_heat[:, 0].sum(axis=-1) / limit_values.slip_heat)
        for most in (limit_values.acceleration, projectile.max_acceleration):
            if most is not None:
                slacks.append(1 - MARGIN - done.stages.peak_acceleration[:, 0].max(axis=-1) / float(most))
        if limit_values.grip_margin:
            grip = chains.at(speeds).grip_limit
            least = np.where(np.isnan(grip), np.inf, (1 - limit_values.grip_margin - MARGIN) * grip / speeds - 1)
            slacks.append(np.minimum(least.min(axis=-1), 1.0))
        varied = done.exit_speed[:, 1:].std(axis=1) / asked
        return np.where(done.jammed.any(axis=1), np.nan, 1 - varied), np.column_stack(slacks)

    return trial


def _spread(people: Crowd, settings: Settings, asked: float) -> float:
    return float(people.throw(settings.wheel_speed[None]).exit_speed[0, 1:].std() / asked)

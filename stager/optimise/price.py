"""What a little more of each limit that holds a plan back would buy."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.aims import asks_speed
from stager.optimise.aims import task as asked
from stager.optimise.choose import binding, broken_by
from stager.optimise.climb import Climbed
from stager.optimise.loosen import BUILT, is_set, looser
from stager.optimise.records import Settings
from stager.optimise.settle import Climber
from stager.optimise.solve import Chains, Task, solve

MORE = 0.01
REACH = 0.3


def prices(scenario: Scenario, climbed: Climbed, best: Settings) -> dict[str, float]:
    """Share of exit speed that 1 % more of each binding limit buys, by solving again on the maps as they were
    corrected about `best`.

    Nothing where the exit speed is what is asked for, or no stage is used.
    """
    if climbed.chains is None or best.count == 0 or asks_speed(scenario.goal):
        return {}
    climber, chains = climbed.climbers[best.count - 1], climbed.chains
    base = _solved(scenario, chains, climber)
    found = {}
    for name in sorted(binding(scenario, best)):
        if not is_set(scenario, name):
            continue
        wider = looser(scenario, [name], 1 + MORE)
        if name not in BUILT:
            under = chains.under(wider.limit_values, best.count)
            found[name] = max(_solved(wider, under, climber) / base - 1, 0.0)
        elif name != "stages":
            found[name] = 0.0 if broken_by(wider, best.count + 1) else one_more(scenario, climbed, best)
    return found


def _solved(scenario: Scenario, chains: Chains, climber: Climber) -> float:
    """Exit speed [m/s] on the corrected maps."""
    given = replace(asked(scenario), correction=climber.task.correction)
    if climber.law is not None:
        given = replace(given, extra=partial(climber.law.under(scenario.limit_values).slacks, reach=REACH))
    found = solve(chains, climber.settings.count, given, climber.found.point)
    if found is None:
        return climber.settings.exit_speed
    return _exit_speed(chains, given, found.point)


def one_more(scenario: Scenario, climbed: Climbed, best: Settings) -> float:
    """Share of exit speed that one more stage would add if what is built were no matter."""
    if climbed.chains is None or best.count == 0:
        return 0.0
    if best.count < len(climbed.climbers):
        return climbed.settings[best.count + 1].exit_speed / best.exit_speed - 1
    chains, given = climbed.chains.under(scenario.limit_values, best.count + 1), asked(scenario)
    found = solve(chains, best.count + 1, given)
    return 0.0 if found is None else max(_exit_speed(chains, given, found.point) / best.exit_speed - 1, 0.0)


def _exit_speed(chains: Chains, given: Task, point: Floats) -> float:
    run = chains.run(point[None], given.correction.grip)
    return float(run.exit_speed[0, -1] * given.correction.exit_speed)

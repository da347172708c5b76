"""The best settings under limits that all stages keep together in the true model."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from stager.model.scenario import Scenario
from stager.optimise.foretold import COUPLED
from stager.optimise.records import Settings
from stager.optimise.settle import LOCAL, Climber, compare, thrown_as
from stager.optimise.shared import Law, look_closely
from stager.optimise.solve import Chains, solve

ROUNDS, PATIENCE, CLEARLY = 10, 2, 0.3
WIDE, WIDEST, NARROWER, NARROW = 0.7, 3.0, 0.35, 2e-3
NEAR, STEADY = 0.01, 3e-5


def restrain(scenario: Scenario, chains: Chains, climber: Climber) -> None:
    """Where `climber` breaks such a limit, look for the best settings that keep it, in place.

    Each round solves on the maps with the limits foretold about the best design yet, trusted within a reach that
    shrinks whenever the true model does not confirm it.
    """
    best = climber.settings
    if all(float(verdict.slack) >= 0 for verdict in best.verdicts if verdict.name in COUPLED):
        return
    law = look_closely(scenario, chains, best.lead)
    if law is None:
        return
    task, reach, start, worth = climber.task, WIDE, None, _worth(best, law)
    stuck = 0
    for _ in range(ROUNDS):
        trusted = replace(task, extra=partial(law.slacks, reach=reach))
        found = solve(chains, best.count, trusted, start)
        if found is None:
            # Nothing within reach keeps the limits: look farther.
            if reach >= WIDEST:
                break
            reach = min(2 * reach, WIDEST)
            continue
        tried = Climber(trusted, found, thrown_as(scenario, chains, [found], [trusted], LOCAL)[0])
        about = look_closely(scenario, chains, tried.settings.lead) or law
        task = replace(task, correction=compare(scenario, chains, tried))
        gain = _worth(tried.settings, about) - worth
        moved = float(np.abs(np.log(about.wheel_speed / law.wheel_speed)).max())
        settled = worth + gain > 0 and (moved < NEAR or (worth > 0 and abs(gain) < STEADY * worth))
        stuck = stuck + 1 if worth < 0 and gain < CLEARLY * -worth else 0
        if stuck > PATIENCE:
            break
        if gain <= 0:
            reach *= NARROWER
            if settled or reach < NARROW:
                break
            continue
        climber.found, climber.task, climber.law, start = found, trusted, about, found.point
        law = about
        worth += gain
        if settled:
            break
    climber.settings = thrown_as(scenario, chains, [climber.found], [climber.task])[0]


def _worth(settings: Settings, law: Law) -> float:
    """Exit speed [m/s] where all limits are kept; below 0 by how far they are broken."""
    broken = [max(-float(verdict.slack) - 1e-6, 0.0) for verdict in settings.verdicts if verdict.name not in COUPLED]
    total = law.broken + sum(broken)
    return -total if total > 0 else settings.exit_speed

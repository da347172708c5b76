"""Which of the settings is the plan, and which limits hold it back."""

from __future__ import annotations

from collections.abc import Sequence

from stager.constraints import GEOMETRY, OperatingPoint, evaluate
from stager.model.scenario import Scenario
from stager.optimise.aims import asks_speed
from stager.optimise.records import Settings
from stager.optimise.still import idle

TIE, REACHED, BINDS = 2e-4, 5e-4, 1e-3


def choose(scenario: Scenario, climbed: Sequence[Settings]) -> Settings | None:
    """The plan among the best settings of each stage count; None where none of them will do."""
    fits = [found for found in climbed if found.feasible]
    if not fits:
        return None
    asked = scenario.goal.exit_speed
    if asked is None or not asks_speed(scenario.goal):
        most = max(found.exit_speed for found in fits)
        return next(found for found in fits if found.exit_speed >= most * (1 - TIE))
    return next((found for found in fits if found.exit_speed >= asked * (1 - REACHED)), None)


def binding(scenario: Scenario, best: Settings) -> frozenset[str]:
    """Names of the limits that hold it back; one on what is built does so where one more stage would break it."""
    held = {verdict.name for verdict in best.verdicts if abs(float(verdict.slack)) <= BINDS}
    return frozenset(held - {limit.name for limit in GEOMETRY} | set(broken_by(scenario, best.count + 1)))


def broken_by(scenario: Scenario, count: int) -> list[str]:
    """Names of the limits on what is built that so many stages break."""
    design = OperatingPoint(launcher=scenario.launcher, limit_values=scenario.limit_values, throw=idle(count))
    found = [evaluate(limit, design) for limit in GEOMETRY]
    return [verdict.name for verdict in found if verdict is not None and verdict.slack < 0]

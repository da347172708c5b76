"""Compare the plan with larger, smaller, heavier and lighter wheels."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from stager.constraints import broken_by
from stager.model.launcher import Scenario
from stager.optimise.parts import BestDesign, with_parts
from stager.optimise.problem import Problem
from stager.optimise.records import Settings, Traded
from stager.optimise.search import Clock, Solution, improve
from stager.physics.drive.spinup import spin_up
from stager.physics.parts import INERTIA, RADIUS, DesignVariable

BY = 1.2
"""Factor between the chosen value and the nearest ones at which results are compared, if the range allows [-]."""
STEPS = 3
"""Values on either side of the chosen one: the nearest, and on to the end of the range."""
SAME = 0.02
"""Relative change below which results are not compared [-]."""


def trades(scenario: Scenario, row: BestDesign, margins: Mapping[str, float], clock: Clock) -> tuple[Traded, ...]:
    """Return results with other radii and inertias of all wheels, wheel speeds optimised anew.

    scenario : with the ranges; row : the design; margins : least slack of limits by name [-].
    """
    found = []
    for variable in (RADIUS, INERTIA):
        if row.solution is None or not any(variable.name in parts.design for parts in row.parts):
            continue
        found.append(_result(variable, row, row.settings))
        for factors in _factors(scenario, row, variable):
            start = row.solution
            for by in factors:
                if clock.out("what other wheels would change"):
                    break
                other, start = _at(scenario, row, variable, by, margins, start)
                if other is not None:
                    found.append(other)
    return tuple(found)


def _factors(scenario: Scenario, row: BestDesign, variable: DesignVariable) -> tuple[list[float], list[float]]:
    """Return factors on the chosen values, those below 1 and those above, nearest first."""
    ends = [
        (low / one.design[variable.name], high / one.design[variable.name])
        for k, one in enumerate(row.parts)
        if variable.name in one.design and (found := variable.range(scenario.launcher.stage(k)))
        for low, high in [found]
    ]
    low, high = min((end for end, _ in ends), default=1.0), max((end for _, end in ends), default=1.0)
    return [1 / by for by in _steps(1 / low)], _steps(high)


def _steps(end: float) -> list[float]:
    """Return factors from the nearest one to that of the end of the range."""
    return list(dict.fromkeys(np.geomspace(BY, max(BY, end), STEPS).round(6).tolist()))


def _at(
    scenario: Scenario, row: BestDesign, variable: DesignVariable, by: float, margins: Mapping[str, float],
    start: Solution,
) -> tuple[Traded | None, Solution]:  # fmt: skip
    """Return results with the variable times `by`, within its range, None where that hardly changes it; and a solution.

    start : near which wheel speeds are searched.
    """
    parts = list(row.parts)
    for k, one in enumerate(parts):
        ends, value = variable.range(scenario.launcher.stage(k)), one.design.get(variable.name)
        if ends is not None and value is not None:
            parts[k] = one.having({variable.name: float(np.clip(by * value, *ends))})
    first = next(k for k, one in enumerate(parts) if variable.name in one.design)
    changed, was = parts[first].design[variable.name], row.parts[first].design[variable.name]
    if abs(changed / was - 1) < SAME:
        return None, start
    other = with_parts(scenario, parts)
    if broken := broken_by(other.launcher, other.limit_values, row.count):
        return Traded(variable=variable.name, value=changed, broken=tuple(broken)), start
    solution = improve(Problem(other, row.count, margins=margins), start.trial)
    if not solution.feasible:
        names = tuple(result.name for result in solution.settings.verdicts if not result.satisfied)
        return Traded(variable=variable.name, value=changed, broken=names), start
    made = BestDesign(row.count, other, tuple(parts), solution, solution.settings)
    return _result(variable, made, solution.settings), solution


def _result(variable: DesignVariable, row: BestDesign, settings: Settings) -> Traded:
    point = settings.design
    stages, first = settings.throw.stages, next(k for k, one in enumerate(row.parts) if variable.name in one.design)
    time = None
    if point.train is not None and point.holding is not None and point.launcher.supply is not None:
        time = float(spin_up(point.train, point.holding, point.launcher.supply).time)
    with np.errstate(divide="ignore", invalid="ignore"):
        droop = 1.0 - stages.wheel_speed_after_a / stages.wheel_speed_a
    return Traded(
        variable=variable.name, value=row.parts[first].design[variable.name], exit_speed=settings.exit_speed,
        droop=float(np.nan_to_num(droop).max()), spin_up=time, length=settings.length,
    )  # fmt: skip

"""Compare the plan with larger, smaller, heavier and lighter wheels."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from stager.constraints import broken_by
from stager.model.scenario import Scenario
from stager.optimise.parts import BestDesign, with_parts
from stager.optimise.problem import Problem
from stager.optimise.records import Settings, Traded
from stager.optimise.search import Clock, improve
from stager.physics.drive.spinup import spin_up
from stager.physics.parts import INERTIA, RADIUS, DesignVariable

BY = 1.2
"""Factor on the chosen value at which results are compared, if the range allows [-]."""
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
        for by in (1 / BY, BY):
            if clock.out("what other wheels would change"):
                break
            other = _at(scenario, row, variable, by, margins)
            if other is not None:
                found.append(other)
    return tuple(found)


def _at(
    scenario: Scenario, row: BestDesign, variable: DesignVariable, by: float, margins: Mapping[str, float]
) -> Traded | None:  # fmt: skip
    """Return results with the variable times `by`, within its range; None where that hardly changes it."""
    parts = list(row.parts)
    for k, one in enumerate(parts):
        ends, value = variable.range(scenario.launcher.stage(k)), one.design.get(variable.name)
        if ends is not None and value is not None:
            parts[k] = one.having({variable.name: float(np.clip(by * value, *ends))})
    first = next(k for k, one in enumerate(parts) if variable.name in one.design)
    changed, was = parts[first].design[variable.name], row.parts[first].design[variable.name]
    if abs(changed / was - 1) < SAME or row.solution is None:
        return None
    other = with_parts(scenario, parts)
    if broken := broken_by(other.launcher, other.limit_values, row.count):
        return Traded(variable=variable.name, value=changed, broken=tuple(broken))
    solution = improve(Problem(other, row.count, margins=margins), row.solution.trial)
    if not solution.feasible:
        names = tuple(result.name for result in solution.settings.verdicts if not result.satisfied)
        return Traded(variable=variable.name, value=changed, broken=names)
    return _result(variable, BestDesign(row.count, other, tuple(parts), solution, solution.settings), solution.settings)


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

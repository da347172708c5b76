"""Pareto fronts of exit speed against power, length, heat, cost or mass; the plan with other wheels.

Other wheels are larger, smaller, heavier and lighter ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from enum import Enum
from functools import partial

import numpy as np

from stager.constraints import LIMITS, broken_by
from stager.constraints.design import slip_heat
from stager.constraints.drives import mean_power
from stager.constraints.limit import JAMS, ROUNDING
from stager.errors import InputError
from stager.model.launcher import Scenario
from stager.optimise.clock import Clock
from stager.optimise.judge import Use
from stager.optimise.parts import BestDesign, choose, select, with_parts
from stager.optimise.problem import Budget, Problem
from stager.optimise.records import Front, FrontPoint, Rung, Settings, Traded
from stager.optimise.relaxation import under
from stager.optimise.search import Solution, improve
from stager.physics.parts import INERTIA, RADIUS, DesignVariable
from stager.physics.transient import spin_up

SHARES = (1.0, 0.85, 0.7, 0.58, 0.48, 0.4, 0.33, 0.27)
"""Budgets tried, over what the fastest plan uses [-]."""
REBUILT = (0.85, 0.7, 0.55, 0.4)
"""Length, cost or mass for which parts are chosen anew, over that of the fastest plan [-]."""
GAIN = 1e-5
"""Relative difference of exit speed that counts [-]."""


class Against(Enum):
    """Quantities that exit speed can be traded against."""

    POWER = "power"
    LENGTH = "length"
    HEAT = "heat"
    COST = "cost"
    MASS = "mass"


def front(
    scenario: Scenario, rows: Sequence[BestDesign], ladder: Sequence[Rung], against: Against,
    margins: Mapping[str, float], clock: Clock,
) -> Front:  # fmt: skip
    """Return the Pareto front of exit speed. Raises InputError where the other quantity is not known.

    scenario : with the parts and ranges to choose from; rows, ladder : the best design of each stage count.
    """
    if against in _BY_RUNG:
        unit, value = _BY_RUNG[against]
        found = [FrontPoint(value=value(rung), exit_speed=rung.exit_speed.nominal, stages=rung.stages)
                 for rung in ladder[1:] if rung.kept]  # fmt: skip
        found += _rebuilt(scenario, rows, against, margins, clock)
    else:
        unit, used = _BY_USE[against]
        found = _limited(rows, used, margins, clock)
    if not found or any(point.value is None for point in found):
        raise refusal(against)
    return Front(against=against.value, unit=unit, points=_undominated(found))


def refuse(scenario: Scenario, against: Against | None) -> None:
    """Raise InputError where the configuration does not have the inputs of a front that is asked for."""
    if against is None:
        return
    stages = [scenario.launcher.stage(k) for k in range(max(scenario.limit_values.stages, 1))]
    unpriced = against is Against.COST and any(stage.cost is None for stage in stages)
    unweighed = against is Against.MASS and any(stage.mass is None for stage in stages)
    undriven = against is Against.POWER and (
        scenario.launcher.supply is None or any(stage.drive is None and not stage.drive_options for stage in stages)
    )
    if unpriced or unweighed or undriven:
        raise refusal(against)


def refusal(against: Against) -> InputError:
    """Return the error that says which inputs of a front are missing."""
    return InputError(f"the {against.value} of a plan is not known", where="--trade", hint=_HINTS[against])


def _undominated(found: Sequence[FrontPoint]) -> tuple[FrontPoint, ...]:
    """Return the Pareto-optimal points, cheapest first."""
    kept: list[FrontPoint] = []
    for point in sorted(found, key=lambda point: (point.value or 0.0, -point.exit_speed)):
        if not kept or point.exit_speed > kept[-1].exit_speed * (1 + GAIN):
            kept.append(point)
    return tuple(kept)


def _rebuilt(
    scenario: Scenario, rows: Sequence[BestDesign], against: Against, margins: Mapping[str, float], clock: Clock
) -> list[FrontPoint]:
    """Return the fastest designs with parts and design variables chosen within less length, cost or mass."""
    built = [row for row in rows if row.feasible and row.count and row.parts]
    if not built:
        return []
    limit = next(limit for limit in LIMITS if limit.name == against.value)
    fastest, found = max(built, key=lambda row: row.settings.exit_speed), []
    greatest = limit.value(fastest.settings.design)
    for share in REBUILT:
        if greatest is None or clock.out("the front"):
            break
        bound = {against.value: share * float(greatest)}
        less = replace(scenario, limit_values=replace(scenario.limit_values, **bound))  # type: ignore[arg-type]
        row = choose(less, select(less, clock, margins=margins).rows)
        if clock.out("the front"):
            break
        if row is not None and row.feasible and row.count:
            value = limit.value(row.settings.design)
            speed = row.settings.exit_speed
            found.append(FrontPoint(value=None if value is None else float(value), exit_speed=speed, stages=row.count))
    return found


def _limited(rows: Sequence[BestDesign], used: Use, margins: Mapping[str, float], clock: Clock) -> list[FrontPoint]:
    """Return the fastest point over all stage counts for each budget, a share of what the fastest plan uses."""
    solved = [row for row in rows if row.feasible and row.solution is not None]
    best = max(solved, key=lambda row: row.settings.exit_speed, default=None)
    greatest = None if best is None else used(best.settings.design)
    if greatest is None:
        return []
    found: list[FrontPoint] = []
    starts = {row.count: row.solution.trial for row in solved if row.solution is not None}
    for share in SHARES:
        value, points = share * float(greatest), []
        for row in solved:
            if row.solution is None:
                continue
            problem = under(row.solution.problem, margins)
            problem.budget = Budget(used, value)
            solution = clock.attempt("the front", partial(improve, problem, starts[row.count]))
            if solution is None:
                return found
            if solution.trial.violation[0] <= 0.0:
                starts[row.count] = solution.trial
                points.append((solution.settings.exit_speed, row.count))
        if points:
            speed, count = max(points)
            count = min(count for each, count in points if each >= speed * (1 - GAIN))
            found.append(FrontPoint(value=value, exit_speed=speed, stages=count))
    return found


_BY_RUNG: Mapping[Against, tuple[str, Callable[[Rung], float | None]]] = {
    Against.LENGTH: ("m", lambda rung: float(rung.length)),
    Against.COST: ("", lambda rung: rung.cost),
    Against.MASS: ("kg", lambda rung: rung.mass),
}
_BY_USE: Mapping[Against, tuple[str, Use]] = {Against.POWER: ("W", mean_power), Against.HEAT: ("J", slip_heat)}
_HINTS = {
    Against.POWER: "give stage.drive, supply and feed.rate",
    Against.LENGTH: "see the ladder",
    Against.HEAT: "see the ladder",
    Against.COST: 'give stage.cost, as "cost = 38.0", and the cost of each part that is offered',
    Against.MASS: 'give stage.mass, as mass = "240 g", and the mass of each part that is offered',
}


WHEEL_RATIO = 1.2
"""Factor between the chosen value and the nearest ones at which results are compared, if the range allows [-]."""
WHEEL_STEPS = 3
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
                work = partial(_at, scenario, row, variable, by, margins, start)
                result = clock.attempt("what other wheels would change", work)
                if result is None:
                    break
                other, start = result
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
    return list(dict.fromkeys(np.geomspace(WHEEL_RATIO, max(WHEEL_RATIO, end), WHEEL_STEPS).round(6).tolist()))


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
    solution = improve(Problem(other, row.count, margins=margins, clock=start.problem.clock), start.trial)
    if not solution.feasible:
        names = tuple(
            result.name for result in solution.settings.verdicts
            if float(result.slack) < margins.get(result.name, 0.0) - ROUNDING
        )  # fmt: skip
        return Traded(variable=variable.name, value=changed, broken=names or (JAMS,)), start
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

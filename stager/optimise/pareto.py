"""Pareto fronts: exit speed against power, length, heat, cost or mass."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from enum import Enum

from stager.constraints import LIMITS
from stager.errors import InputError
from stager.model.launcher import Scenario
from stager.optimise.judge import Use, average_power, slip_heat
from stager.optimise.parts import BestDesign, choose, select
from stager.optimise.problem import Budget
from stager.optimise.records import Front, FrontPoint, Rung
from stager.optimise.search import Clock, improve
from stager.optimise.sensitivities import under

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
    found = []
    starts = {row.count: row.solution.trial for row in solved if row.solution is not None}
    for share in SHARES:
        if clock.out("the front"):
            break
        value, points = share * float(greatest), []
        for row in solved:
            if row.solution is None:
                continue
            problem = under(row.solution.problem, margins)
            problem.budget = Budget(used, value)
            solution = improve(problem, starts[row.count])
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
_BY_USE: Mapping[Against, tuple[str, Use]] = {Against.POWER: ("W", average_power), Against.HEAT: ("J", slip_heat)}
_HINTS = {
    Against.POWER: "give stage.drive, supply and feed.rate",
    Against.LENGTH: "see the ladder",
    Against.HEAT: "see the ladder",
    Against.COST: 'give stage.cost, as "cost = 38.0"',
    Against.MASS: 'give stage.mass, as mass = "240 g"',
}

"""Exit speed against something that it costs: a front of plans, each the fastest for what it may use."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from stager.errors import InputError
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import Aim, Goal
from stager.model.scenario import Scenario
from stager.optimise.aims import task
from stager.optimise.climb import Climbed, chains_of, most_stages
from stager.optimise.coupled import restrain
from stager.optimise.loosen import with_limits
from stager.optimise.records import Front, FrontPoint, Rung, Settings
from stager.optimise.settle import settle
from stager.optimise.solve import Chains
from stager.parallel import Executor

SHARES = (1.0, 0.85, 0.7, 0.58, 0.48, 0.4, 0.33, 0.27)
"""Of what the fastest plan uses."""
CHUNK = 2
GAIN = 1e-5


class Against(Enum):
    """What exit speed is traded for."""

    POWER = "power"
    LENGTH = "length"
    HEAT = "heat"
    COST = "cost"


def front(
    scenario: Scenario, climbed: Climbed, ladder: Sequence[Rung], against: Against, executor: Executor | None = None
) -> Front:
    """The front from the fastest plan down. Raises InputError where what it costs is not known."""
    if against in _BY_RUNG:
        unit, value = _BY_RUNG[against]
        found = [FrontPoint(value=value(rung), exit_speed=rung.exit_speed.nominal, stages=rung.stages)
                 for rung in ladder[1:] if rung.kept]  # fmt: skip
    else:
        unit, used, limit = _BY_LIMIT[against]
        found = _limited(scenario, climbed, used, limit, executor or Executor())
    if not found or any(point.value is None for point in found):
        raise InputError(f"no plan tells its {against.value}", where="--trade", hint=_HINTS[against])
    return Front(against=against.value, unit=unit, points=_undominated(found))


def _undominated(found: Sequence[FrontPoint]) -> tuple[FrontPoint, ...]:
    """In the order of what they cost, each faster than all that cost less."""
    kept: list[FrontPoint] = []
    for point in sorted(found, key=lambda point: (point.value or 0.0, -point.exit_speed)):
        if not kept or point.exit_speed > kept[-1].exit_speed * (1 + GAIN):
            kept.append(point)
    return tuple(kept)


@dataclass(frozen=True, slots=True)
class _Part:
    """Values of one limit to plan for, falling, with a number of stages that may do for the first."""

    scenario: Scenario
    limit: str
    values: tuple[float, ...]
    count: int


def _limited(
    scenario: Scenario, climbed: Climbed, used: Callable[[Settings], float | None], limit: str, executor: Executor
) -> list[FrontPoint]:
    goal = Goal(aim=Aim.FASTEST, spin=scenario.goal.spin)
    plain = replace(scenario, goal=goal, uncertain=(), draws=None, values={}, realise=_unrealised)
    kept = [found for found in climbed.settings if found.feasible and found.count]
    best = max(kept, key=lambda found: found.exit_speed, default=None)
    most = None if best is None else used(best)
    if best is None or most is None:
        return []
    values = [share * most for share in SHARES]
    # The stingiest take longest, so they are begun first.
    parts = [_Part(plain, limit, tuple(values[k : k + CHUNK]), best.count) for k in range(0, len(values), CHUNK)][::-1]
    rows = np.vstack(executor.map(_planned, parts))
    return [FrontPoint(value=float(row[0]), exit_speed=float(row[1]), stages=int(row[2])) for row in rows if row[1] > 0]


def _planned(part: _Part) -> Floats:
    """What is allowed, exit speed [m/s] and number of stages of each value's best plan; speed 0: there is none."""
    chains, count, rows = chains_of(part.scenario, most_stages(part.scenario)), part.count, []
    for value in part.values:
        limited = with_limits(part.scenario, {part.limit: value})
        best = _speed(limited, chains, count)
        while count > 1 and (fewer := _speed(limited, chains, count - 1)) > best:
            best, count = fewer, count - 1
        rows.append([value, best, count])
    return np.array(rows)


def _speed(scenario: Scenario, chains: Chains, count: int) -> float:
    """Exit speed of the best with so many stages [m/s], 0 where none keeps the limits."""
    climbers = settle(scenario, chains, [count], task(scenario))
    for climber in climbers:
        restrain(scenario, chains, climber)
    return max((each.settings.exit_speed for each in climbers if each.settings.feasible), default=0.0)


def _unrealised(values: Mapping[str, Number]) -> Launcher:
    raise ValueError("a scenario without its configuration")


def _heat(settings: Settings) -> float:
    return float(settings.throw.stages.slip_heat.sum())


_BY_RUNG: Mapping[Against, tuple[str, Callable[[Rung], float | None]]] = {
    Against.LENGTH: ("m", lambda rung: float(rung.length)),
    Against.COST: ("", lambda rung: rung.cost),
}
_BY_LIMIT: Mapping[Against, tuple[str, Callable[[Settings], float | None], str]] = {
    Against.POWER: ("W", lambda settings: settings.average_power, "average_power"),
    Against.HEAT: ("J", _heat, "slip_heat"),
}
_HINTS = {
    Against.POWER: "give stage.drive, supply and feed.rate",
    Against.LENGTH: "see the ladder",
    Against.HEAT: "see the ladder",
    Against.COST: 'give stage.cost, as "cost = 38.0"',
}

"""Sensitivities: gain of exit speed for a slightly looser limit, and for one more stage.

A limit that is looser by a share is the same limit with a negative least slack, so all limits are treated alike.
"""

from __future__ import annotations

from collections.abc import Mapping

from stager.constraints import LIMITS, Kind, broken_by
from stager.optimise.parts import FEW, BestDesign
from stager.optimise.problem import Problem, Trial
from stager.optimise.refine import CLOSE, QUICKLY, fastest, refine
from stager.optimise.search import Clock, explore

MORE = 0.01
"""Share by which limits are loosened for their prices [-]."""
WORTHLESS = 1e-5
"""Gain below which a limit does not hold a plan back [-]."""
FLOORS = {limit.name for limit in LIMITS if limit.floor}
BUILT = {limit.name for limit in LIMITS if limit.kind is Kind.DESIGN}
FREE = -1e9
"""Slack that sets a limit free [-]."""


def looser(margins: Mapping[str, float], name: str, factor: float) -> dict[str, float]:
    """Return margins with the named limit looser by `factor`; a floor is divided by it."""
    margin = margins.get(name, 0.0)
    loose = (1.0 + margin) / factor - 1.0 if name in FLOORS else 1.0 - factor * (1.0 - margin)
    return {**margins, name: loose}


def without(margins: Mapping[str, float], names: tuple[str, ...] | list[str]) -> dict[str, float]:
    """Return margins with the named limits set free."""
    return {**margins, **dict.fromkeys(names, FREE)}


def prices(
    row: BestDesign, active: frozenset[str], margins: Mapping[str, float], more: float, clock: Clock, problem: Problem
) -> dict[str, float]:
    """Return the relative gain of exit speed for each active limit if it is 1 % looser, by solving again.

    active : names of active limits; more : gain of one more stage [-]; problem : that of the design, with its design
    variables to be chosen. Empty where an exit speed is asked for, or no stage is used.
    """
    if row.solution is None or row.scenario.goal.asked is not None:
        return {}
    start = row.start(problem)
    base = again(problem, start, margins)
    found = {}
    for name in sorted(active):
        if clock.out("prices"):
            break
        wider = looser(margins, name, 1.0 + MORE)
        if name in BUILT and _counts_stages(row, name):
            continue
        found[name] = 0.0
        if name in BUILT and not broken_by(row.scenario.launcher, row.scenario.limit_values, row.count + 1, wider):
            found[name] = more
        if name not in BUILT or problem.choices:
            gained = again(problem, base, wider).exit_speed[0] / base.exit_speed[0] - 1
            found[name] = max(float(gained), found[name])
    return found


def _counts_stages(row: BestDesign, name: str) -> bool:
    """Whether a limit counts stages, so that it cannot be 1 % looser."""
    limit = next(limit for limit in LIMITS if limit.name == name)
    return limit.unit == "-"


def again(problem: Problem, start: Trial, margins: Mapping[str, float]) -> Trial:
    """Return the best settings near known ones under other margins."""
    return refine(other := under(problem, margins), other.look(start.x), fastest, CLOSE)


def under(problem: Problem, margins: Mapping[str, float]) -> Problem:
    """Return a problem with other margins."""
    other = Problem(
        problem.scenario, problem.count, launcher=problem.launcher, tables=problem.tables, margins=margins,
        choose=problem.choose,
    )  # fmt: skip
    other.grip_correction, other.grip_found = problem.grip_correction, problem.grip_found
    return other


def one_more(row: BestDesign, rows: list[BestDesign], margins: Mapping[str, float]) -> float:
    """Return the relative gain of one more stage without limits on what is built."""
    if row.solution is None:
        return 0.0
    if row.count + 1 < len(rows):
        speed = rows[row.count + 1].settings.exit_speed
    else:
        problem = Problem(row.scenario, row.count + 1, tables=row.solution.problem.tables, margins=margins)
        found = explore(problem, [row.solution.trial], generations=FEW, effort=QUICKLY)
        speed = float(found.exit_speed[0]) if found.violation[0] <= 0.0 else 0.0
    return max(speed / row.settings.exit_speed - 1, 0.0)

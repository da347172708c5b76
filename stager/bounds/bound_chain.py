"""Bound the exit speed of a chain stage by stage: a speed that no setting within the limits exceeds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.bounds.branch_and_bound import FINE_STEPS, STEPS, StageQuery, explore
from stager.bounds.entry_sets import GRIP_EVIDENCE, Entries, after_run, capped, feed_entries, leaving
from stager.bounds.records import Meter
from stager.bounds.stages import enclosure, pair_ceiling, spins
from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, exit_cap, no_throw, speed_range
from stager.model.launcher import Scenario
from stager.physics.layout import free_runs

TOLERANCE = 1e-4
"""Relative distance of the bound from the best exit speed found, at which a stage is done [-]."""
EFFORT = 1_500_000
"""Greatest number of steps of cells for a stage."""
DEARER = 3
"""Cost of a step with one driven wheel over that of a pair's [-]."""
STRAIN_SEEN = 1e-3
"""Share of its peak acceleration that integration steps may miss [-]."""
ROUNDING = 1e-6
"""Share of a limit that counts as rounding [-]."""
SLOW_EVIDENCE = "settings that slow the projectile below its feed, which were not tried"
AT_CAP = 5e-5
"""A known setting this close to the cap makes a bound needless [-]."""
TWO_SPEEDS = "pairs at two speeds"
CARRIED = frozenset({"acceleration", "grip_margin"})
"""Limits on a throw, besides those on exit speed alone, that the bound of a stage takes into account."""
FED_SPINNING = "a projectile that enters with spin"


@dataclass(frozen=True, slots=True)
class Bound:
    """An upper bound on exit speed over all wheel speeds within the limits, to integration tolerance.

    It is for pairs with both wheels at one speed, except where it is the cap.

    speeds: bound by stage count, from 0, as far as it is known [m/s]; cap: exit speed that limits on the throw allow
    [m/s]; missing: the kind of stage that has no bound but the cap, empty where all have one; evidence: the part that
    rests on numerical evidence, empty where all is proven; asked: exit speed that is asked for, None where it is the
    greatest [m/s]; kept: limits shared by stages that are taken into account; left_out: every limit that is set and
    not taken into account.
    """

    speeds: tuple[float, ...]
    cap: float
    missing: str = ""
    evidence: str = ""
    asked: float | None = None
    kept: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()

    @property
    def speed(self) -> float:
        """Bound over all allowed stage counts [m/s]."""
        return self.cap if self.missing else max(self.speeds)


def bound(
    scenario: Scenario, most: int, reached: float = 0.0, *, effort: int = EFFORT, tolerance: float = TOLERANCE
) -> Bound:
    """Return an upper bound on exit speed over all settings of up to `most` stages.

    Limits of single stages are taken into account; those that stages share are left out, so the bound may be looser
    than necessary.

    Parameters
    ----------
    scenario : Scenario
    most : int
        Greatest number of stages.
    reached : float
        Exit speed of a known setting [m/s]. At the cap, the cap is returned.
    effort, tolerance
        For each stage, see `StageQuery`.
    """
    launcher, feed = scenario.launcher, float(scenario.launcher.feed.speed)
    cap, left_out = float(exit_cap(launcher, scenario.limit_values)) * (1 + ROUNDING), not_used(scenario)
    if reached >= cap * (1 - AT_CAP):
        return Bound((feed, cap), cap, left_out=left_out)
    missing = TWO_SPEEDS if scenario.goal.spin else FED_SPINNING if launcher.feed.spin else ""
    arriving, speeds, evidence = feed_entries(feed), [feed], set[str]()
    # Once the bound is at the cap, further stages cannot raise it.
    while not missing and len(speeds) <= most and 0.0 < speeds[-1] < cap:
        index = len(speeds) - 1
        task = _task(scenario, index, arriving, cap, tolerance, effort)
        if isinstance(task, str):
            missing = task
            break
        found = explore(task)
        if not found.settled:
            missing = "stages near a jam, or too dear to bound"
            break
        turning = spins(launcher, launcher.stage(index))
        evidence |= {GRIP_EVIDENCE} if scenario.limit_values.grip_margin else set()
        evidence |= {SLOW_EVIDENCE} if arriving.spins else set()
        speeds.append(min(found.bound, cap))
        arriving = leaving(found.enclosed, feed if turning else 0.0, spins=turning)
    rests_on = "" if missing else " and ".join(sorted(evidence))
    return Bound(tuple(speeds), cap, missing, rests_on, scenario.goal.asked, left_out=left_out)


def not_used(scenario: Scenario) -> frozenset[str]:
    """Return the names of the limits that are set and not taken into account by the bound of a stage."""
    launcher, limit_values = scenario.launcher, scenario.limit_values
    count = max(limit_values.stages, 1)
    tops = [float(np.max(speed_range(launcher, limit_values, k).top)) for k in range(count)]
    beyond = 2.0 * float(exit_cap(launcher, limit_values))
    throw = replace(no_throw(np.array(tops)), exit_speed=np.asarray(beyond))
    point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=throw)
    found = set()
    for limit in LIMITS:
        if limit.kind in (Kind.DESIGN, Kind.WHEEL) or limit.name in CARRIED or limit.bound(point) is None:
            continue
        result = evaluate(limit, point)
        # A throw that is only too fast breaks just the limits that the cap includes.
        if limit.kind is Kind.STEADY or result is None or not bool((result.slack < 0).any()):
            found.add(limit.name)
    return frozenset(found)


def _task(
    scenario: Scenario, index: int, arriving: Entries, cap: float, tolerance: float, effort: int
) -> StageQuery | str:
    """Return the query for stage `index` with entries `arriving`, or the kind of stage that has no bound."""
    launcher, limit_values = scenario.launcher, scenario.limit_values
    stage = launcher.stage(index)
    meter = Meter()
    enclose = enclosure(launcher, stage, spins=arriving.spins, meter=meter)
    if isinstance(enclose, str):
        return enclose
    least, most = runs(scenario, index) if index else (0.0, 0.0)
    if least < 0:
        return "stages that hold the projectile together"
    entries = after_run(launcher, arriving, least, most) if index else arriving
    top = top_of(scenario, index)
    tops = np.full(entries.low.size, top)
    if limit_values.grip_margin:
        tops = capped(launcher, index, entries, top, limit_values.grip_margin)
    turning = arriving.spins or spins(launcher, stage)
    ceiling = pair_ceiling(launcher, stage) if stage.layout.side_b_driven and not turning else None
    steps = FINE_STEPS if turning else STEPS
    effort = effort if stage.layout.side_b_driven else effort // DEARER
    return StageQuery(enclose, meter, entries, tops, strain(scenario), cap, tolerance, effort, steps, ceiling)


def runs(scenario: Scenario, index: int) -> tuple[float, float]:
    """Return the shortest and longest free path before stage `index` [m], as contacts grow with wheel speed."""
    launcher = scenario.launcher
    tops = [np.atleast_1d(speed_range(launcher, scenario.limit_values, k).top) for k in (index - 1, index)]
    fast, still = np.maximum(*tops), np.zeros(1)
    least, most = (float(free_runs(launcher, index + 1, speed)[index - 1][0]) for speed in (fast, still))
    return least, most


def top_of(scenario: Scenario, index: int) -> float:
    """Return the greatest allowed wheel speed of stage `index` [m/s], with rounding."""
    return float(speed_range(scenario.launcher, scenario.limit_values, index).top) * (1 + ROUNDING)


def strain(scenario: Scenario) -> float:
    """Return the greatest allowed peak acceleration [m/s^2], raised by what integration steps may miss."""
    known = [scenario.limit_values.acceleration, scenario.launcher.projectile.max_acceleration]
    return min((float(value) for value in known if value is not None), default=np.inf) * (1 + STRAIN_SEEN)

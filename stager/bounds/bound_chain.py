"""Bound the exit speed of a chain stage by stage: a speed that no setting within the limits exceeds.

The cells of one stage are bounded by branch and bound.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from stager.bounds.entry_sets import (
    BAND, ENTRY, GRIP_EVIDENCE, WHEEL, Ceiling, Cells, Enclose, Enclosed, Entries, Meter, after_run, capped,
    feed_entries, leaving,
)  # fmt: skip
from stager.bounds.stages import enclosure, pair_ceiling, spins
from stager.constraints import LIMITS, Kind, OperatingPoint, asked_speed, evaluate, exit_cap, no_throw, speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.barrel import free_runs

STEPS = 12
"""Integration steps for a smooth piece of the contact."""
FINE_STEPS = 24
"""The same where spin makes cells wide."""
PEAK_STEPS = 48
"""The same where the peak acceleration matters, which depends on the end of slip."""
FINEST = 384
"""Greatest number of steps when the step error is found."""
CLOSE = 5
"""Factor on the steps of cells that may jam."""
NARROW = 0.01
"""Width of a cell over its wheel speed up to which it is integrated again with these steps [-]."""
STRAINED = 0.9
"""Share of the allowed peak acceleration from which on `PEAK_STEPS` are used [-]."""
SURE_OF_JAMS = 48
"""Steps from which on a jam counts: coarser steps may stop what passes."""
STEP_ERROR = 1.2e-4
"""Allowed step error over the goal [-]."""
FAR_ERROR = 0.4
"""Allowed step error of a cell below the goal over its distance from it [-]."""
LOOSE_ERROR = 0.1
"""Allowed step error of a cell above the goal over its distance from it [-]."""
SMALL_ERROR = 5e-4
"""Step error over the goal that is allowed below the known bound [-]."""
MOST_AT_ONCE = 512
"""Cells cut in a round."""
ROUNDS = 60
"""Greatest number of rounds."""
FIRST_CUTS = 16
"""Intervals of wheel speed to begin with."""
PARTS = 6
"""Parts into which a cell is cut."""
SAMPLED = 8
"""Cells in which points are tried for the best exit speed."""
CHUNK = 2048
"""Cells integrated at once, which bounds memory."""
FINE = 3e-5
"""Width over wheel speed below which a cell is not cut further [-]."""
GROWTHS = 4
"""Rounds in which the number of cells that may jam must grow for the search to give up."""
MORE = 2
"""Factor by which it must grow in each."""
CUTS = 5
"""Rounds in which the bound must fall by `FALLEN`."""
FALLEN = 0.1
"""Share of its distance from the goal by which the bound must fall in these rounds, else the search ends [-]."""
WEIGHTS = np.array([0.5, 0.5, 1.0])[:, None]
"""Weight of the width of each side of a cell when it is cut [-]."""


@dataclass(frozen=True, slots=True)
class StageQuery:
    """The search for the bound of one stage.

    enclose: integrates cells; meter: counts its steps; entries: boxes of entries; tops: greatest allowed wheel speed
    for each [m/s], (entries,); strain: greatest allowed peak acceleration [m/s^2]; enough: exit speed at which the
    search ends [m/s]; tolerance: relative distance of the bound from the best exit speed found at which it ends [-];
    effort: greatest number of steps; steps: least number for a smooth piece of the contact; ceiling: bound by energy
    alone, None: not known.
    """

    enclose: Enclose
    meter: Meter
    entries: Entries
    tops: Floats
    strain: float
    enough: float
    tolerance: float
    effort: int
    steps: int
    ceiling: Ceiling | None = None


@dataclass(frozen=True, slots=True)
class StageCover:
    """The cells that may contain the fastest throw, and their enclosures.

    best: greatest exit speed found at single points [m/s]; settled: the step error of all relevant cells is known.
    """

    cells: Cells
    enclosed: Enclosed
    best: float
    settled: bool = True

    @property
    def bound(self) -> float:
        """Exit speed that no throw exceeds [m/s]; 0: all jam."""
        return float(self.enclosed.high.max(initial=0.0))


def explore(question: StageQuery) -> StageCover:
    """Return the cells left after cutting those that may exceed the best exit speed by more than the tolerance."""
    fresh = _start(question)
    enclosed, done = _empty(), fresh.take(np.zeros(0, np.intp))
    answer, stalling, excess = StageCover(done, enclosed, 0.0), [0], list[float]()
    points = _points(question, fresh, fresh.high[WHEEL])
    if question.ceiling is not None:
        fresh = fresh.take(question.ceiling(fresh) > _best(question, _run(question.enclose, points, question.steps)))
    for _ in range(ROUNDS):
        found = _run(question.enclose, fresh.join(points), question.steps)
        if question.steps < PEAK_STEPS and (found.strain > STRAINED * question.strain).any():
            return explore(replace(question, steps=PEAK_STEPS, effort=question.meter.spent + question.effort))
        best = max(answer.best, _best(question, found.take(np.arange(len(fresh), len(fresh) + len(points)))))
        found = found.take(np.arange(len(fresh)))
        # Near a jam steps are too coarse, and cutting does not help.
        poor = _poor(question, fresh, found, best)
        stalling.append(int(poor.size))
        if _hopeless(stalling):
            return StageCover(answer.cells, answer.enclosed, best, settled=False)
        found = found.put(poor, _run(question.enclose, fresh.take(poor), CLOSE * question.steps))
        possible = ~_strained(question, fresh, found)
        done, enclosed = done.join(fresh.take(possible)), enclosed.join(found.take(possible))
        answer = StageCover(done, enclosed, best)
        active = _active(question, answer)
        excess.append(answer.bound - _goal(question, answer))
        if active.size == 0 or question.meter.spent > question.effort or best >= question.enough or _stalls(excess):
            break
        points = _points(question, done.take(active), enclosed.high[active])
        rest = np.ones(len(done), bool)
        rest[active] = False
        fresh = _cut(question, done.take(active))
        done, enclosed = done.take(rest), enclosed.take(rest)
    enclosed, settled = _checked(question, answer)
    return StageCover(answer.cells, enclosed, answer.best, settled)


def _poor(question: StageQuery, cells: Cells, found: Enclosed, best: float) -> NDArray[np.intp]:
    """Return the cells that may jam and may exceed the best exit speed; with few steps only narrow ones."""
    poor = (found.low <= 0.0) & (found.high > best * (1.0 + question.tolerance))
    if question.steps < FINE_STEPS:
        poor &= ((cells.high - cells.low) * WEIGHTS).max(axis=0) < NARROW * cells.high[WHEEL]
    return np.flatnonzero(poor)


def _strained(question: StageQuery, cells: Cells, found: Enclosed) -> NDArray[np.bool_]:
    """Return the cells all of whose throws exceed the allowed peak acceleration, with two lengths of steps."""
    hard = found.strain > question.strain
    again = _run(question.enclose, cells.take(hard), 2 * question.steps)
    hard[hard] = again.strain > question.strain
    return hard


def _hopeless(stalling: list[int]) -> bool:
    """Whether fast cells that may jam grow in number, so that cutting does not help.

    At the edge of a jam their number would stay the same.
    """
    return len(stalling) > GROWTHS and all(0 < MORE * one <= two for one, two in pairwise(stalling[-GROWTHS - 1 :]))


def _stalls(excess: list[float]) -> bool:
    """Whether the bound has hardly fallen; excess: its distance from the goal by round [m/s]."""
    return len(excess) > CUTS and excess[-1] > (1.0 - FALLEN) * excess[-1 - CUTS]


def _start(question: StageQuery) -> Cells:
    """Return the first cells."""
    entries, share = question.entries, np.linspace(0.0, 1.0, FIRST_CUTS + 1)
    group = np.repeat(np.arange(question.tops.size), FIRST_CUTS)
    wheel = question.tops[:, None] * share
    low = np.stack([entries.low[group], entries.band_low[group], wheel[:, :-1].ravel()])
    high = np.stack([entries.high[group], entries.band_high[group], wheel[:, 1:].ravel()])
    return Cells(low, high, group)


def _goal(question: StageQuery, answer: StageCover) -> float:
    """Return the bound at which the search ends [m/s]."""
    return answer.best * (1.0 + question.tolerance)


def _active(question: StageQuery, answer: StageCover) -> NDArray[np.intp]:
    """Return the cells to be cut: those above the goal that are not too small, highest first."""
    cells = answer.cells
    excess = answer.enclosed.high - _goal(question, answer)
    wide = ((cells.high - cells.low) * WEIGHTS).max(axis=0) > FINE * cells.high[WHEEL]
    over = np.flatnonzero((excess > 0) & wide)
    order = np.argsort(-excess[over], kind="stable")
    return over[order[:MOST_AT_ONCE]]


def _best(question: StageQuery, points: Enclosed) -> float:
    """Return the greatest exit speed at points within the allowed peak acceleration [m/s]."""
    return float(points.low[points.strain <= question.strain].max(initial=0.0))


def _empty() -> Enclosed:
    return Enclosed(*(np.zeros(0) for _ in range(7)))


def _points(question: StageQuery, cells: Cells, score: Floats) -> Cells:
    """Return points at the fastest entry, middle and top wheel speed of the cells with the greatest score."""
    chosen = cells.take(np.argsort(-score, kind="stable")[:SAMPLED])
    middle = 0.5 * (chosen.low + chosen.high)
    fastest = chosen.high[ENTRY]
    band = middle[BAND] if question.entries.spins else fastest
    parts = []
    for wheel in (middle[WHEEL], chosen.high[WHEEL]):
        place = np.stack([fastest, band, wheel])
        parts.append(Cells(place, place, chosen.group))
    return parts[0].join(parts[1])


def _cut(question: StageQuery, cells: Cells) -> Cells:
    """Return the cells cut in PARTS across the side with the greatest weighted width."""
    width = (cells.high - cells.low) * WEIGHTS
    if not question.entries.spins:
        width[BAND] = 0.0
    side, at = np.argmax(width, axis=0), np.arange(len(cells))
    start, size = cells.low[side, at], (cells.high - cells.low)[side, at]
    out = cells.take(np.zeros(0, np.intp))
    for part in range(PARTS):
        low, high = cells.low.copy(), cells.high.copy()
        low[side, at] = start + size * (part / PARTS)
        if part + 1 < PARTS:
            high[side, at] = start + size * ((part + 1) / PARTS)
        if not question.entries.spins:
            low[BAND], high[BAND] = low[ENTRY], high[ENTRY]
        out = out.join(Cells(low, high, cells.group))
    return out


def _run(enclose: Enclose, cells: Cells, steps: int) -> Enclosed:
    out = _empty()
    for start in range(0, len(cells), CHUNK):
        part = cells.take(np.arange(start, min(start + CHUNK, len(cells))))
        out = out.join(enclose(part, steps))
    return out


def _checked(question: StageQuery, answer: StageCover) -> tuple[Enclosed, bool]:
    """Return the enclosures widened by their step error, and whether it is known for all relevant cells.

    Steps are halved until the ends change little. At order 2 halving leaves a third of the last change as error: ends
    are extrapolated by that and widened by the whole change, which suffices even at order 1. A cell far from the best
    may change by a part of its distance from it, and a cell below the goal or below a known bound by a little more.
    """
    cells, enclosed = answer.cells, answer.enclosed
    goal = _goal(question, answer)
    index, coarse, steps = np.arange(len(cells)), enclosed, question.steps
    most = question.meter.spent + question.effort
    while index.size:
        steps *= 2
        fine = _run(question.enclose, cells.take(index), steps)
        moved = fine.apart(coarse)
        ends = fine.settled(coarse, moved)
        enclosed = enclosed.put(index, ends)
        top = np.maximum(fine.high, coarse.high)
        allowed = np.maximum(STEP_ERROR * goal, np.where(top < goal, FAR_ERROR, LOOSE_ERROR) * np.abs(goal - top))
        known = max(goal, float(ends.high[moved <= allowed].max(initial=0.0)))
        harmless = (ends.high <= known) & (moved <= SMALL_ERROR * goal)
        # Too long a step may stop what would pass.
        moving = ((moved > allowed) & ~harmless) | ((fine.high <= 0.0) & (steps < SURE_OF_JAMS))
        if steps >= FINEST or question.meter.spent > most:
            return enclosed, not moving.any()
        index, coarse = index[moving], fine.take(moving)
    return enclosed, True


TOLERANCE = 1e-4
"""Relative distance of the bound from the best exit speed found, at which a stage is done [-]."""
EFFORT = 1_500_000
"""Greatest number of steps of cells for a stage."""
DEARER = 3
"""Cost of a step with one driven wheel over that of a pair's [-]."""
STRAIN_SEEN = 5e-4
"""Share of its peak acceleration that a throw may miss [-]."""
ROUNDING = 1e-6
"""Share of a limit that counts as rounding [-]."""
SLOW_EVIDENCE = "settings that slow the projectile below its feed, which were not tried"
AT_CAP = 5e-5
"""A known setting this close to the cap makes a bound needless [-]."""
TOO_FAST = 1e9
"""Exit speed that breaks every limit on exit speed or energy, also those that another one makes needless [m/s]."""
TWO_SPEEDS = "pairs at two speeds"
CARRIED = frozenset({"acceleration", "grip_margin"})
"""Limits on a throw, besides those on exit speed alone, that the bound of a stage takes into account."""
FED_SPINNING = "a projectile that enters with spin"
PUSHED = "a projectile that is pushed on through the first stage"


@dataclass(frozen=True, slots=True)
class Bound:
    """An upper bound on exit speed over all wheel speeds within the limits, to integration tolerance.

    It is for pairs with both wheels at one speed, except where it is the cap.

    speeds: bound by stage count, from 0, as far as it is known [m/s]; cap: exit speed that limits on the throw allow
    [m/s]; missing: the kind of stage that has no bound but the cap, empty where all have one; evidence: the part that
    rests on numerical evidence, empty where all is proven; asked: exit speed that is asked for, behind the last wheel
    as the others are, None where it is the greatest [m/s]; kept: limits shared by stages that are taken into account;
    left_out: every limit that is set and not taken into account.
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
    scenario: Scenario, most: int, reached: float = 0.0, *, tolerance: float = TOLERANCE
) -> Bound:  # fmt: skip
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
    tolerance : float
        For each stage, see `StageQuery`.
    """
    launcher, feed = scenario.launcher, float(scenario.launcher.feed.speed)
    cap, left_out = float(exit_cap(launcher, scenario.limit_values)) * (1 + ROUNDING), not_used(scenario)
    if reached >= cap * (1 - AT_CAP):
        return Bound((feed, cap), cap, left_out=left_out)
    unbounded = {TWO_SPEEDS: scenario.goal.spin, FED_SPINNING: launcher.feed.spin, PUSHED: launcher.feed.push}
    missing = next((kind for kind, given in unbounded.items() if given), "")
    arriving, speeds, evidence = feed_entries(feed), [feed], set[str]()
    # Once the bound is at the cap, further stages cannot raise it.
    while not missing and len(speeds) <= most and 0.0 < speeds[-1] < cap:
        index = len(speeds) - 1
        task = _task(scenario, index, arriving, cap, tolerance)
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
    asked = asked_speed(launcher, scenario.goal)
    rests_on = "" if missing else " and ".join(sorted(evidence))
    return Bound(tuple(speeds), cap, missing, rests_on, None if asked is None else float(asked), left_out=left_out)


def not_used(scenario: Scenario) -> frozenset[str]:
    """Return the names of the limits that are set and not taken into account by the bound of a stage."""
    launcher, limit_values = scenario.launcher, scenario.limit_values
    count = max(limit_values.stages, 1)
    tops = [float(np.max(speed_range(launcher, limit_values, k).top)) for k in range(count)]
    throw = replace(no_throw(np.array(tops)), exit_speed=np.asarray(TOO_FAST))
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


def _task(scenario: Scenario, index: int, arriving: Entries, cap: float, tolerance: float) -> StageQuery | str:
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
    effort = EFFORT if stage.layout.side_b_driven else EFFORT // DEARER
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
    """Return the greatest allowed peak acceleration [m/s^2], raised by what throws may miss."""
    known = [scenario.limit_values.acceleration, scenario.launcher.projectile.max_acceleration]
    return min((float(value) for value in known if value is not None), default=np.inf) * (1 + STRAIN_SEEN)

"""Branch and prune over the cells of one stage."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from stager.bounds.entry_sets import Entries
from stager.bounds.records import BAND, ENTRY, WHEEL, Ceiling, Cells, Enclose, Enclosed, Meter
from stager.model.arrays import Floats

STEPS, FINE_STEPS, PEAK_STEPS = 12, 24, 48
"""Finer where spin makes cells wide; finest, with more effort, where the peak acceleration counts: it hangs on the last
of the slip."""
FINEST, CLOSE, NARROW, STRAINED = 384, 5, 0.01, 0.9
SURE_OF_JAMS = 48
STEP_ERROR, FAR_ERROR, LOOSE_ERROR, SMALL_ERROR = 1.2e-4, 0.4, 0.1, 5e-4
MOST_AT_ONCE, ROUNDS = 512, 60
FIRST_CUTS, PARTS, SAMPLED = 16, 6, 8
CHUNK, FINE = 2048, 3e-5
GROWTHS, MORE = 4, 2
CUTS, FALLEN = 5, 0.1
"""Share of its distance from what is near enough that the bound falls by within so many rounds: else cutting no longer
helps."""
WEIGHTS = np.array([0.5, 0.5, 1.0])[:, None]
"""How much a width of each side of a cell matters."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a stage.

    enclose; entries; tops: greatest wheel speed allowed to each of the entries [m/s], (entries,); strain: greatest
    peak acceleration allowed [m/s^2]; enough: exit speed beyond which nothing need be known [m/s]; tolerance: how near
    the bound shall come to the best that is found [-]; effort: steps that may be spent, as `meter` counts them;
    steps: how many a piece of the way takes at least; ceiling: what cells cannot exceed anyway, None: not known.
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
class Answer:
    """Cells that cover all that is allowed and may leave faster than the best, and where they leave.

    best: greatest exit found at points [m/s]; settled: whether the step error of all cells that matter is known.
    """

    cells: Cells
    enclosed: Enclosed
    best: float
    settled: bool = True

    @property
    def bound(self) -> float:
        """No throw leaves faster [m/s]; 0: none gets through."""
        return float(self.enclosed.high.max(initial=0.0))


def explore(question: Question) -> Answer:
    """Cut the cells that may leave faster than the best found by more than the tolerance, until none is left."""
    fresh = _start(question)
    enclosed, done = _empty(), fresh.take(np.zeros(0, np.intp))
    answer, stalling, excess = Answer(done, enclosed, 0.0), [0], list[float]()
    points = _points(question, fresh, fresh.high[WHEEL])
    if question.ceiling is not None:
        fresh = fresh.take(question.ceiling(fresh) > _best(question, _run(question.enclose, points, question.steps)))
    for _ in range(ROUNDS):
        found = _run(question.enclose, fresh.join(points), question.steps)
        if question.steps < PEAK_STEPS and (found.strain > STRAINED * question.strain).any():
            return explore(replace(question, steps=PEAK_STEPS, effort=question.meter.spent + question.effort))
        best = max(answer.best, _best(question, found.take(np.arange(len(fresh), len(fresh) + len(points)))))
        found = found.take(np.arange(len(fresh)))
        # Near a jam steps are coarse, and no cutting helps.
        poor = _poor(question, fresh, found, best)
        stalling.append(int(poor.size))
        if _hopeless(stalling):
            return Answer(answer.cells, answer.enclosed, best, settled=False)
        found = found.put(poor, _run(question.enclose, fresh.take(poor), CLOSE * question.steps))
        possible = ~_strained(question, fresh, found)
        done, enclosed = done.join(fresh.take(possible)), enclosed.join(found.take(possible))
        answer = Answer(done, enclosed, best)
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
    return Answer(answer.cells, enclosed, answer.best, settled)


def _poor(question: Question, cells: Cells, found: Enclosed, best: float) -> NDArray[np.intp]:
    """Cells that may jam, and may leave faster than the best, among those that are narrow if steps are few."""
    poor = (found.low <= 0.0) & (found.high > best * (1.0 + question.tolerance))
    if question.steps < FINE_STEPS:
        poor &= ((cells.high - cells.low) * WEIGHTS).max(axis=0) < NARROW * cells.high[WHEEL]
    return np.flatnonzero(poor)


def _strained(question: Question, cells: Cells, found: Enclosed) -> NDArray[np.bool_]:
    """Return the cells all of whose throws strain the projectile more than it may be, in steps of two lengths."""
    hard = found.strain > question.strain
    again = _run(question.enclose, cells.take(hard), 2 * question.steps)
    hard[hard] = again.strain > question.strain
    return hard


def _hopeless(stalling: list[int]) -> bool:
    """Whether cells that may jam, and may leave fast too, fill a band that no cutting narrows: there are more and more
    of them, where round the edge of a jam there would be as many as before."""
    return len(stalling) > GROWTHS and all(0 < MORE * one <= two for one, two in pairwise(stalling[-GROWTHS - 1 :]))


def _stalls(excess: list[float]) -> bool:
    """Return whether the bound has hardly fallen, its distance from what is near enough given by rounds [m/s]."""
    return len(excess) > CUTS and excess[-1] > (1.0 - FALLEN) * excess[-1 - CUTS]


def _start(question: Question) -> Cells:
    entries, share = question.entries, np.linspace(0.0, 1.0, FIRST_CUTS + 1)
    group = np.repeat(np.arange(question.tops.size), FIRST_CUTS)
    wheel = question.tops[:, None] * share
    low = np.stack([entries.low[group], entries.band_low[group], wheel[:, :-1].ravel()])
    high = np.stack([entries.high[group], entries.band_high[group], wheel[:, 1:].ravel()])
    return Cells(low, high, group)


def _goal(question: Question, answer: Answer) -> float:
    """Return the bound that is near enough [m/s]."""
    return answer.best * (1.0 + question.tolerance)


def _active(question: Question, answer: Answer) -> NDArray[np.intp]:
    cells = answer.cells
    excess = answer.enclosed.high - _goal(question, answer)
    wide = ((cells.high - cells.low) * WEIGHTS).max(axis=0) > FINE * cells.high[WHEEL]
    over = np.flatnonzero((excess > 0) & wide)
    order = np.argsort(-excess[over], kind="stable")
    return over[order[:MOST_AT_ONCE]]


def _best(question: Question, points: Enclosed) -> float:
    """Return the greatest exit speed at points that keep the limits [m/s]."""
    return float(points.low[points.strain <= question.strain].max(initial=0.0))


def _empty() -> Enclosed:
    return Enclosed(*(np.zeros(0) for _ in range(7)))


def _points(question: Question, cells: Cells, score: Floats) -> Cells:
    """Return the points at the fastest entries, in the middle and at the top of the cells of greatest score."""
    chosen = cells.take(np.argsort(-score, kind="stable")[:SAMPLED])
    middle = 0.5 * (chosen.low + chosen.high)
    fastest = chosen.high[ENTRY]
    band = middle[BAND] if question.entries.spins else fastest
    parts = []
    for wheel in (middle[WHEEL], chosen.high[WHEEL]):
        place = np.stack([fastest, band, wheel])
        parts.append(Cells(place, place, chosen.group))
    return parts[0].join(parts[1])


def _cut(question: Question, cells: Cells) -> Cells:
    """Return the cells cut in PARTS across the side whose width matters most."""
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


def _checked(question: Question, answer: Answer) -> tuple[Enclosed, bool]:
    """Return the bounds with their step error, and whether it is known of all.

    Steps are halved until the ends stay put. Halving takes three quarters off the error, so a third of the last move is
    left: ends are moved on by that, and put out by a whole move, more than is left if halving took but half off. A cell
    far from the best, or whose bound is loose, may move by a part of its distance; a little more does no harm where the
    end stays below what is near enough, or below another's that is known.
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
        # Too long a step may stop what would get through.
        moving = ((moved > allowed) & ~harmless) | ((fine.high <= 0.0) & (steps < SURE_OF_JAMS))
        if steps >= FINEST or question.meter.spent > most:
            return enclosed, not moving.any()
        index, coarse = index[moving], fine.take(moving)
    return enclosed, True

"""The bound under a budget that stages share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from stager.bounds.boxes import CHUNK, SURE_OF_JAMS
from stager.bounds.budget import Asked, Evaluate, begin, within
from stager.bounds.entries import Entries, after_run
from stager.bounds.margin import margins
from stager.bounds.prove import ROUNDING, Bound, runs, strain, top_of
from stager.bounds.records import RESIDUE, WHEEL, Cells
from stager.bounds.stages import heated_pair, spins
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.model.stage import Stage

NEAR, UNDER = 3e-3, 1e-3
"""How near a bound is to come to what is reached, and how far below what is asked for to what falls short [-]."""
FEWEST, WHEELS, STEPS, FINEST = 4, 16, 12, 96
MOST = 100_000
SHARE, NARROW = 0.3, 0.03
"""Steps are halved where that moves ends by this share of their distance, of cells so narrow beside their speed."""
BUDGETS = frozenset({"slip_heat"})
"""Limits that stages share and that bounds can take into account."""
Ends = tuple[Floats, Floats, Floats]
Top = Callable[[Floats, Floats], Floats]


def shared(scenario: Scenario, known: Bound, reached: float | None, count: int | None, *, most: int = MOST) -> Bound:
    """`known` with the slip heat that is allowed taken into account, for chains of pairs.

    reached: exit speed [m/s] of the best setting that is known, count: its stages; None: there is none. Where a speed
    is asked for, it is proven that fewer stages fall short; else that nothing is much faster than what is reached.
    Bounds that tell as much already stay. most: cells that may be looked at.
    """
    budget, bounded = scenario.limit_values.slip_heat, len(known.speeds)
    if budget is None or known.missing:
        return known
    if known.asked is not None:
        target, bounded = known.asked * (1 - UNDER), min(count or bounded, bounded)
    else:
        target = (reached or np.inf) * (1 + NEAR)
    loose = [number for number in range(1, bounded) if known.speeds[number] > target]
    if not loose or not _pairs(scenario, loose[-1]):
        return known
    tops = _tops(scenario, known.speeds[: loose[-1] + 1])
    evaluate = _evaluation(scenario, known.speeds, tops)
    slices = [_slices(scenario, k, known.speeds[k], top) for k, top in enumerate(tops)]
    share = np.linspace(0.0, 1.0, WHEELS + 1)
    floors = begin(slices, [top(*each)[:, None] * share for top, each in zip(tops, slices, strict=True)], evaluate)
    speeds = list(known.speeds)
    for number in loose:
        top = within(floors[:number], evaluate, budget * (1 + ROUNDING), target, most)
        speeds[number] = min(speeds[number], top)
    return replace(known, speeds=tuple(speeds), kept=BUDGETS, left_out=known.left_out - BUDGETS)


def _pairs(scenario: Scenario, count: int) -> bool:
    launcher = scenario.launcher
    stages = [launcher.stage(k) for k in range(count)]
    return not scenario.goal.spin and all(
        stage.layout.side_b_driven and not spins(launcher, stage) for stage in stages
    )  # fmt: skip


def _slices(scenario: Scenario, number: int, fastest: float, top: Top) -> tuple[Floats, Floats]:
    """Slices of what leaves the stage before `number`, up to `fastest` [m/s], about as wide as those of wheel speed."""
    if number == 0:
        feed = np.array([float(scenario.launcher.feed.speed)])
        return feed, feed
    widest = float(top(np.zeros(1), np.array([fastest]))[0])
    edges = np.linspace(0.0, fastest, max(round(WHEELS * fastest / widest), FEWEST) + 1)
    return edges[:-1], edges[1:]


def _tops(scenario: Scenario, fastest: Sequence[float]) -> list[Top]:
    """Greatest wheel speed open to entries from … to [m/s], by stage; stages alike share theirs."""
    launcher, limit_values = scenario.launcher, scenario.limit_values
    found: dict[int, Top] = {}
    for index in range(len(fastest) - 1):
        if id(launcher.stage(index)) not in found:
            top = top_of(scenario, index)
            found[id(launcher.stage(index))] = (
                margins(launcher, index, max(fastest), top, limit_values.grip_margin)
                if limit_values.grip_margin else partial(_same, top)
            )  # fmt: skip
    return [found[id(launcher.stage(index))] for index in range(len(fastest) - 1)]


def _same(top: float, low: Floats, high: Floats) -> Floats:
    return np.full(low.size, top)


def _entering(scenario: Scenario, number: int, low: Floats, high: Floats) -> Entries:
    entries = Entries(low, high, low, high, False)
    return after_run(scenario.launcher, entries, *runs(scenario, number)) if number else entries


def _evaluation(scenario: Scenario, fastest: Sequence[float], tops: Sequence[Top]) -> Evaluate:
    """What cells do, step errors allowed for; nothing leaves stage k faster than fastest[k + 1] [m/s], no wheel turns
    faster than its tops allow. Equal stages go through their steps together."""
    launcher, hardest = scenario.launcher, strain(scenario)

    def evaluate(asked: Sequence[Asked]) -> list[Ends]:
        done: dict[int, Ends] = {}
        for stage in {id(launcher.stage(one.number)): launcher.stage(one.number) for one in asked}.values():
            alike = [one for one in asked if launcher.stage(one.number) is stage]
            cells = _joined([_cells(scenario, one) for one in alike])
            parts = [_ends(launcher, stage, cells.take(at), hardest) for at in _chunks(len(cells))]
            ends = [np.concatenate(rows) for rows in zip(*parts, strict=True)]
            edges = np.cumsum([one.low.size for one in alike])[:-1]
            for one, low, high, heat in zip(alike, *(np.split(row, edges) for row in ends), strict=True):
                open_to = tops[one.number](one.low, one.high)
                heat = np.where(one.wheel_low > open_to, np.inf, heat)
                done[one.number] = low, np.minimum(high, fastest[one.number + 1]), heat
        return [done[one.number] for one in asked]

    return evaluate


def _chunks(count: int) -> list[NDArray[np.intp]]:
    return np.array_split(np.arange(count), max(-(-count // CHUNK), 1))


def _cells(scenario: Scenario, asked: Asked) -> Cells:
    entries = _entering(scenario, asked.number, asked.low, asked.high)
    return Cells(
        np.stack([entries.low, entries.low, asked.wheel_low]), np.stack([entries.high, entries.high, asked.wheel_high]),
        np.zeros(asked.low.size, np.intp),
    )  # fmt: skip


def _joined(parts: Sequence[Cells]) -> Cells:
    whole = parts[0]
    for part in parts[1:]:
        whole = whole.join(part)
    return whole


def _ends(launcher: Launcher, stage: Stage, cells: Cells, hardest: float) -> Ends:
    """Exits and least heat of cells. Steps are halved until what that moves matters little beside a cell's width."""
    enclose = heated_pair(launcher, stage)
    steps, index = STEPS, np.arange(len(cells))
    coarse, before = enclose(cells, steps)
    exit_low, exit_high, heat = (np.zeros(len(cells)) for _ in range(3))
    hard = coarse.strain > hardest
    narrow = cells.high[WHEEL] - cells.low[WHEEL] < NARROW * cells.high[WHEEL]
    while index.size:
        steps *= 2
        fine, after = enclose(cells.take(index), steps)
        moved = fine.apart(coarse)
        ends = fine.settled(coarse, moved)
        heat[index] = np.maximum(after - np.abs(after - before), 0.0)
        slowest = fine.lead_low - np.abs(fine.lead_low - coarse.lead_low) - RESIDUE * fine.high
        exit_low[index], exit_high[index] = np.maximum(slowest, 0.0), ends.high
        hard[index] &= fine.strain > hardest
        stopped = fine.high <= 0.0
        # A wide cell will be cut anyway; near a jam steps are coarse, and no cutting helps.
        rough = (moved > SHARE * (fine.high - fine.low)) | (fine.low <= 0.0)
        worth = (stopped & (steps < SURE_OF_JAMS)) | (narrow[index] & ~stopped & rough)
        heat[index[stopped]] = np.where(steps < SURE_OF_JAMS, 0.0, np.inf)
        exit_high[index[stopped]] = np.inf
        again = worth & (steps < FINEST)
        index, coarse, before = index[again], fine.take(again), after[again]
    heat[hard] = np.inf
    return exit_low, exit_high, heat

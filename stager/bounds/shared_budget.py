"""Tighten the bound by a budget that stages share: slip heat.

Chains faster than a target are sought among cells of all stages at once. A cell is a slice of entry speeds and an
interval of wheel speeds; its theorem gives its exit speeds and the least heat it makes. The least heat to reach a slice
(forward) and to reach the target from it (backward) tell which cells lie on a chain within the budget. All others are
dropped and those are cut, until none is left: then nothing within the budget reaches the target.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from stager.bounds.bound_chain import CHUNK, ROUNDING, SURE_OF_JAMS, Bound, runs, strain, top_of
from stager.bounds.entry_sets import RESIDUE, WHEEL, Cells, Entries, after_run, margins
from stager.bounds.stages import heated_pair, spins
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.stage import PAIR, Stage

ROUNDS = 14
"""Greatest number of rounds of cutting."""
PARTS = 2
"""Parts into which a cell is cut each way."""
STALLED = 3000
"""Number of cells from which on cutting ends unless the bound falls."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """Cells of one stage, arrays (cells,).

    slice: index of the slice of entry speed; wheel_low, wheel_high: wheel speeds; exit_low, exit_high: exit speeds
    [m/s]; heat: least slip heat [J].
    """

    slice: NDArray[np.intp]
    wheel_low: Floats
    wheel_high: Floats
    exit_low: Floats
    exit_high: Floats
    heat: Floats

    def take(self, chosen: NDArray[np.intp] | NDArray[np.bool_]) -> Pieces:
        """Return the chosen cells."""
        return Pieces(
            self.slice[chosen], self.wheel_low[chosen], self.wheel_high[chosen],
            self.exit_low[chosen], self.exit_high[chosen], self.heat[chosen],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Floor:
    """A stage: its slices of entry speed from `low` to `high` [m/s], rising, (slices,), and its cells."""

    low: Floats
    high: Floats
    pieces: Pieces


@dataclass(frozen=True, slots=True)
class Asked:
    """Cells to be evaluated of stage `number` (from 0): ranges of entry and wheel speed [m/s], all (cells,)."""

    number: int
    low: Floats
    high: Floats
    wheel_low: Floats
    wheel_high: Floats


Evaluate = Callable[[Sequence[Asked]], list[tuple[Floats, Floats, Floats]]]
"""Returns for each stage's cells least and greatest exit speed [m/s] and least heat [J], (cells,); infinite heat where
nothing passes within the stage's own limits."""


def within(floors: list[Floor], evaluate: Evaluate, budget: float, target: float, most: int) -> float:
    """Return a speed [m/s], at least `target`, that no chain through all `floors` within `budget` [J] exceeds.

    most: greatest number of cells evaluated.
    """
    spent, before = 0, np.inf
    for _ in range(ROUNDS):
        floors = _critical(floors, budget, target)
        count = sum(floor.pieces.slice.size for floor in floors)
        spent += PARTS**2 * count
        top = float(floors[-1].pieces.exit_high.max(initial=0.0))
        if count == 0 or spent > most or (count > STALLED and top >= before):
            break
        before = top
        floors = _cut(floors, evaluate)
    floors = _critical(floors, budget, target)
    return max(target, float(floors[-1].pieces.exit_high.max(initial=0.0)))


def begin(entries: Sequence[tuple[Floats, Floats]], wheels: Sequence[Floats], evaluate: Evaluate) -> list[Floor]:
    """Return stages with first cells.

    entries: ends of the slices of entry speed [m/s] by stage; wheels: edges of wheel speed [m/s], (slices, edges).
    """
    slices = [np.repeat(np.arange(len(edges)), edges.shape[1] - 1) for edges in wheels]
    asked = [
        Asked(number, entry[0][which], entry[1][which], edges[:, :-1].ravel(), edges[:, 1:].ravel())
        for number, (entry, edges, which) in enumerate(zip(entries, wheels, slices, strict=True))
    ]
    return [
        Floor(*entry, _through(Pieces(which, one.wheel_low, one.wheel_high, *ends)))
        for entry, which, one, ends in zip(entries, slices, asked, evaluate(asked), strict=True)
    ]


def _through(pieces: Pieces) -> Pieces:
    """Return the cells through which something passes."""
    return pieces.take(np.isfinite(pieces.heat))


def _critical(floors: list[Floor], budget: float, target: float) -> list[Floor]:
    """Return the stages with only the cells on a chain to the target within the budget."""
    links = [_links(floor.pieces, after) for floor, after in pairwise(floors)]
    behind, spent = [], np.zeros(floors[0].low.size)
    for number, floor in enumerate(floors):
        total = spent[floor.pieces.slice] + floor.pieces.heat
        behind.append(total)
        if number < len(links):
            spent = np.full(floors[number + 1].low.size, np.inf)
            np.minimum.at(spent, links[number][1], total[links[number][0]])
    out: list[Floor] = []
    ahead = np.where(floors[-1].pieces.exit_high > target, 0.0, np.inf)
    for number in range(len(floors) - 1, -1, -1):
        floor, total = floors[number], behind[number]
        out.append(replace(floor, pieces=floor.pieces.take(total + ahead <= budget)))
        if number:
            needed = np.full(floor.low.size, np.inf)
            np.minimum.at(needed, floor.pieces.slice, floor.pieces.heat + ahead)
            ahead = np.full(floors[number - 1].pieces.slice.size, np.inf)
            np.minimum.at(ahead, links[number - 1][0], needed[links[number - 1][1]])
    return out[::-1]


def _links(pieces: Pieces, after: Floor) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs of a cell and a slice of the next stage that it may leave into, as two arrays of indices."""
    begin = np.searchsorted(after.high, pieces.exit_low, side="left")
    end = np.searchsorted(after.low, pieces.exit_high, side="right")
    count = np.maximum(end - begin, 0)
    cell = np.repeat(np.arange(count.size), count)
    return cell, np.arange(cell.size) - np.repeat(np.cumsum(count) - count, count) + np.repeat(begin, count)


def _cut(floors: list[Floor], evaluate: Evaluate) -> list[Floor]:
    """Return the stages with slices and wheel intervals cut in PARTS, the first stage's single slice uncut.

    Known bounds of a cell also hold for its parts.
    """
    parts = [_parts(floor, PARTS if number else 1) for number, floor in enumerate(floors)]
    asked = [
        Asked(number, low[old.slice], high[old.slice], old.wheel_low, old.wheel_high)
        for number, (low, high, old) in enumerate(parts)
    ]
    out = []
    for (low, high, old), (exit_low, exit_high, heat) in zip(parts, evaluate(asked), strict=True):
        fresh = replace(
            old, exit_low=np.maximum(exit_low, old.exit_low), exit_high=np.minimum(exit_high, old.exit_high),
            heat=np.maximum(heat, old.heat),
        )  # fmt: skip
        out.append(Floor(low, high, _through(fresh)))
    return out


def _parts(floor: Floor, parts: int) -> tuple[Floats, Floats, Pieces]:
    """Return ends of the used slices, cut in `parts`, and the cells cut with them and in PARTS across wheel speed."""
    used, rank = np.unique(floor.pieces.slice, return_inverse=True)
    share = np.arange(parts + 1) / parts
    edges = floor.low[used, None] + (floor.high - floor.low)[used, None] * share
    edges[:, -1] = floor.high[used]
    old = floor.pieces.take(np.repeat(np.arange(rank.size), parts * PARTS))
    slices = (np.repeat(rank, parts * PARTS).reshape(-1, parts, PARTS) * parts + np.arange(parts)[:, None]).ravel()
    part = np.tile(np.arange(PARTS), rank.size * parts)
    width = (old.wheel_high - old.wheel_low) / PARTS
    low = old.wheel_low + width * part
    high = np.where(part == PARTS - 1, old.wheel_high, low + width)
    return edges[:, :-1].ravel(), edges[:, 1:].ravel(), replace(old, slice=slices, wheel_low=low, wheel_high=high)


NEAR = 3e-3
"""Distance from the best known exit speed at which the bound is close enough [-]."""
UNDER = 1e-3
"""Distance below an asked speed at which fewer stages are shown to fall short [-]."""
FEWEST = 4
"""Least number of slices of entry speed."""
WHEELS = 16
"""Intervals of wheel speed to begin with."""
STEPS = 12
"""Integration steps for a smooth piece of the contact."""
FINEST = 96
"""Greatest number of these steps."""
MOST = 100_000
"""Greatest number of cells evaluated."""
SHARE = 0.3
"""Change of a cell's ends over their distance above which steps are halved [-]."""
NARROW = 0.03
"""Width of a cell over its wheel speed below which they are [-]."""
BUDGETS = frozenset({"slip_heat"})
"""Limits that stages share and that bounds can take into account."""
Ends = tuple[Floats, Floats, Floats]
Top = Callable[[Floats, Floats], Floats]


def shared(scenario: Scenario, known: Bound, reached: float | None, count: int | None, *, most: int = MOST) -> Bound:
    """Return the bound `known` tightened by the limit on slip heat, for chains of pairs.

    Where a speed is asked for, it shows that fewer stages fall short; else that nothing is much faster than the best
    known setting. Bounds that already show this stay.

    Parameters
    ----------
    scenario : Scenario
    known : Bound
    reached : float or None
        Exit speed of the best known setting [m/s].
    count : int or None
        Its stage count.
    most : int
        Greatest number of cells evaluated.
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
    """Whether the first `count` stages are pairs and nothing spins."""
    launcher = scenario.launcher
    stages = [launcher.stage(k) for k in range(count)]
    return not scenario.goal.spin and all(
        stage.layout == PAIR and not spins(launcher, stage) for stage in stages
    )  # fmt: skip


def _slices(scenario: Scenario, number: int, fastest: float, top: Top) -> tuple[Floats, Floats]:
    """Return slices of entry speed [m/s] of stage `number`, up to `fastest`, about as wide as those of wheel speed."""
    if number == 0:
        feed = np.array([float(scenario.launcher.feed.speed)])
        return feed, feed
    widest = float(top(np.zeros(1), np.array([fastest]))[0])
    edges = np.linspace(0.0, fastest, max(round(WHEELS * fastest / widest), FEWEST) + 1)
    return edges[:-1], edges[1:]


def _tops(scenario: Scenario, fastest: Sequence[float]) -> list[Top]:
    """Return for each stage a function of ends of entry speed [m/s] to the greatest allowed wheel speed [m/s]."""
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
    """Return the evaluation of cells, step errors included; equal stages are integrated together.

    fastest: bound by stage count [m/s]; tops: greatest wheel speed of each stage, see `_tops`.
    """
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
    """Return exit speeds and least heat of cells, with steps halved until that moves ends little beside their width."""
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
        # With fewer steps than SURE_OF_JAMS these are integrated again.
        heat[index[stopped]] = exit_high[index[stopped]] = np.inf
        again = worth & (steps < FINEST)
        index, coarse, before = index[again], fine.take(again), after[again]
    heat[hard] = np.inf
    return exit_low, exit_high, heat

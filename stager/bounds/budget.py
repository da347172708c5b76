"""What a budget that stages share leaves of the bound: slip heat.

Chains that would leave faster than a target are looked for among cells of all stages at once. A cell holds entries of a
slice of speeds and an interval of wheel speed; its theorem gives where it leaves and the least heat it makes. The least
heat to reach a slice (forward) and to reach the target from it (backward) tell which cells lie on a chain within the
budget; all others are dropped, those are cut, and so on until none is left: then nothing within the budget reaches the
target.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

ROUNDS, PARTS = 14, 2
STALLED = 3000
"""With so many cells the bound should have come down: else cutting does not help."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """Cells of one stage, arrays (cells,): number of the slice that they enter by; wheel speeds from wheel_low to
    wheel_high; exit speeds from exit_low to exit_high [m/s]; heat: the least they make [J]."""

    slice: NDArray[np.intp]
    wheel_low: Floats
    wheel_high: Floats
    exit_low: Floats
    exit_high: Floats
    heat: Floats

    def take(self, chosen: NDArray[np.intp] | NDArray[np.bool_]) -> Pieces:
        """The chosen cells."""
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
    """Cells of stage `number`: entry speeds from `low` to `high`, wheel speeds likewise [m/s], all (cells,)."""

    number: int
    low: Floats
    high: Floats
    wheel_low: Floats
    wheel_high: Floats


Evaluate = Callable[[Sequence[Asked]], list[tuple[Floats, Floats, Floats]]]
"""Of each stage's cells: exit speeds from … to [m/s] and least heat [J], (cells,); infinite heat where nothing gets
through within the stage's own limits."""


def within(floors: list[Floor], evaluate: Evaluate, budget: float, target: float, most: int) -> float:
    """A speed [m/s], `target` or more, that no chain through all `floors` within `budget` [J] exceeds.

    most: cells that may be looked at.
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
    """Stages with slices of entry speed from … to [m/s] and cells between edges of wheel speed, (slices, edges)."""
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
    return pieces.take(np.isfinite(pieces.heat))


def _critical(floors: list[Floor], budget: float, target: float) -> list[Floor]:
    """With only the cells that lie on a chain to the target within the budget."""
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
    """Numbers of the cells and of the slices of the next floor that they may leave into, pair by pair."""
    begin = np.searchsorted(after.high, pieces.exit_low, side="left")
    end = np.searchsorted(after.low, pieces.exit_high, side="right")
    count = np.maximum(end - begin, 0)
    cell = np.repeat(np.arange(count.size), count)
    return cell, np.arange(cell.size) - np.repeat(np.cumsum(count) - count, count) + np.repeat(begin, count)


def _cut(floors: list[Floor], evaluate: Evaluate) -> list[Floor]:
    """Slices and wheel intervals cut in PARTS; the first stage has but one entry. What is known of a cell holds of its
    parts."""
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
    """Slices from … to, those in use cut in `parts`, and the cells cut with them and in PARTS across wheel speed."""
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

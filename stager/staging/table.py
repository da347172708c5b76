"""Tables of a stage over entry speed and wheel speed, for dynamic programmes along the chain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.options import Options
from stager.staging.grip import IDLE
from stager.staging.stage import Chooser, Passing

ENTRIES, SETTINGS = 24, 25
ROUGH = Options(tolerance=1e-4)
_FIRST = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class StageTable:
    """entry [m/s], shape (entries,); wheel_speed, exit_speed [m/s] and slip_heat [J], shape (settings, entries).

    exit_speed is −inf where a setting jams or breaks a local limit.
    """

    entry: Floats
    wheel_speed: Floats
    exit_speed: Floats
    slip_heat: Floats


def tabulate(chooser: Chooser, index: int, entry: Floats, spin: Floats) -> StageTable:
    """Stage `index` for projectiles entering at `entry` [m/s] with `spin` [rad/s], shape (entries,)."""
    high, _ = chooser.open_range(index, entry, spin, rounds=1)
    low = np.minimum(IDLE * entry, high)
    speeds = low + (high - low) * np.linspace(0.0, 1.0, SETTINGS)[:, None]
    done = chooser.transit(index, entry, spin, speeds, ROUGH)
    return StageTable(entry=entry, wheel_speed=speeds, exit_speed=chooser.usable(done), slip_heat=done.slip_heat)


def chain_tables(
    chooser: Chooser, count: int, entry: Passing, fastest: list[Passing], known: dict[int, StageTable]
) -> list[StageTable]:
    """A table for each of `count` stages; equal stages behind the first share theirs.

    known: tables found before, by the stage's identity, kept here; fastest: what leaves each stage at its fastest, for
    the range of entry speeds and the spin that goes with speed.
    """
    if _FIRST not in known:
        known[_FIRST] = tabulate(chooser, 0, np.array([entry.speed]), np.array([entry.spin]))
    tables = [known[_FIRST]]
    if count == 1:
        return tables
    top = max(passing.speed for passing in fastest)
    turning = fastest[0].spin / fastest[0].speed if fastest[0].speed > 0 else 0.0
    entries = np.linspace(min(entry.speed, top) * 0.8, top * 1.05, ENTRIES)
    for index in range(1, count):
        stage = chooser.launcher.stage(index)
        if id(stage) not in known or known[id(stage)].entry[-1] < top:
            known[id(stage)] = tabulate(chooser, index, entries, turning * entries)
        tables.append(known[id(stage)])
    return tables


def heat_to_go(tables: list[StageTable], target: float) -> list[Floats]:
    """Least slip heat [J] still needed to leave at `target` [m/s], by entry speed, for each stage of the chain.

    Shapes (entries,); inf where the target cannot be reached. The last stage just reaches it.
    """
    last = tables[-1]
    to_go = [_heat_at(last, target)]
    for table in reversed(tables[:-1]):
        behind, entries = to_go[0], tables[len(tables) - len(to_go)].entry
        onward = interpolate(entries, behind, table.exit_speed)
        to_go.insert(0, (table.slip_heat + onward).min(axis=0))
    return to_go


def _heat_at(table: StageTable, target: float) -> Floats:
    """Heat of the slowest wheel that leaves at `target`, by entry."""
    reached = table.exit_speed >= target
    first = np.argmax(reached, axis=0)
    lanes = np.arange(table.entry.size)
    before = np.maximum(first - 1, 0)
    low, high = table.exit_speed[before, lanes], table.exit_speed[first, lanes]
    usable = np.isfinite(low) & (high > low)
    share = np.where(
        usable, (target - np.where(usable, low, 0)) / np.where(usable, high - np.where(usable, low, 0), 1), 1.0
    )
    heat = table.slip_heat[before, lanes] * (1 - share) + table.slip_heat[first, lanes] * share
    return np.where(reached.any(axis=0), heat, np.inf)


def interpolate(entries: Floats, values: Floats, at: Floats) -> Floats:
    """Values between entries; inf where either neighbour is, or outside."""
    inside = np.isfinite(at) & (at >= entries[0]) & (at <= entries[-1])
    place = np.clip(np.searchsorted(entries, np.where(inside, at, entries[0])) - 1, 0, max(entries.size - 2, 0))
    after = np.minimum(place + 1, entries.size - 1)
    width = np.where(after > place, entries[after] - entries[place], 1.0)
    share = (np.where(inside, at, entries[0]) - entries[place]) / width
    low, high = values[place], values[after]
    both = np.isfinite(low) & np.isfinite(high) & inside
    mixed = np.where(both, low, 0) * (1 - share) + np.where(both, high, 0) * share
    return np.where(both, mixed, np.inf)

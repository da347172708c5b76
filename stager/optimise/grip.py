"""The grip limit of a stage.

The least wheel speed whose exit speed is within 0.1 % of the greatest one in the range, looking up from the first
setting that does not jam: past it more wheel speed only slips. None where exit speed still rises at the end.
That of a pair at two speeds is its leading wheel's, the side that drives the spin forward, the other one set for the
same spin throughout: it is the slower one, grips as long as the leading one does, and lies the same difference lower at
the limit too, so its own share below that is the larger one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.way import Way
from stager.optimise.zoom import Curve, Looks, first_above, sharpen
from stager.physics.batch import take
from stager.physics.chain import transit
from stager.physics.options import QUICK, Options

NEARLY, HARDLY_LESS = 0.999, 1 - 2e-5
IDLE = 0.5
STILL_RISING = 1e-2
COARSE, COARSE_OF_MANY, COARSE_NEAR = 64, 40, 16
MANY = 24
AROUND = 0.8, 1.25
CLIFF_POINTS, CLIFF_ROUNDS = 10, 3
CLOSELY, FAIRLY = Looks(3), Looks(2)


Curves = Callable[..., Curve]
"""The curve of all lanes, or of the chosen ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GripLimit:
    """Shapes (lanes,). wheel_speed [m/s] (NaN: exit speed still rises at the end of the range, or all jam) with the
    exit_speed there [m/s]; peak_speed, peak_exit: the setting of the greatest exit speed [m/s], and it;
    edge: the least setting that hardly misses it [m/s]; first_through, last_through: where jams below and above it
    end and begin, the ends of the range where there are none [m/s]."""

    wheel_speed: Floats
    exit_speed: Floats
    peak_speed: Floats
    peak_exit: Floats
    edge: Floats
    first_through: Floats
    last_through: Floats


def grip_limit(
    launcher: Launcher,
    index: int,
    entry_speed: Floats,
    entry_spin: Floats,
    top: Floats,
    *,
    near: Floats | None = None,
    around: tuple[float, float] = AROUND,
    looks: Looks = CLOSELY,
    cliffs: bool = False,
    options: Options = QUICK,
    way: Way = transit,
    coarse: int | None = None,
) -> GripLimit:
    """Grip limit of stage `index` for projectiles entering at `entry_speed` [m/s], `entry_spin` [rad/s].

    All of shape (lanes,), as any arrays in `launcher`; top: end of the range [m/s]; near: about where it must be
    [m/s], where that is known, within the factors `around`; cliffs: find where jams begin;
    way: how a stage is passed, the wheel speeds being those of its leading wheel; coarse: settings over the whole range
    that are looked at first (None: fewer where there are many lanes).
    """
    entry_speed, entry_spin, top = np.broadcast_arrays(entry_speed, entry_spin, top)
    whole = coarse or (COARSE_OF_MANY if top.size > MANY else COARSE)
    low, high, bend = np.minimum(IDLE * entry_speed, top), top, 1.5
    if near is not None:
        low, high, bend = np.minimum(around[0] * near, top), np.minimum(around[1] * near, top), 1.0
    places = whole if near is None else COARSE_NEAR
    # Much slower than the projectile a wheel only brakes. Above, the whole range is looked at finer near the entry.
    grid = low + (high - low) * np.linspace(0.0, 1.0, places)[:, None] ** bend

    def curves(chosen: NDArray[np.intp] | None = None) -> Curve:
        if chosen is None:
            machine, through, speed, spin = launcher, way, entry_speed, entry_spin
        else:
            machine, through = take(launcher, chosen), take(way, chosen)
            speed, spin = entry_speed[chosen], entry_spin[chosen]
        return lambda speeds: through(machine, index, speed, speeds, entry_spin=spin, options=options).exit_speed

    values = curves()(grid)
    best = np.argmax(values, axis=0)
    lost = ((best == 0) | ((best == places - 1) & (high < top))) if near is not None else np.zeros(top.shape, bool)
    found = _refine(curves, grid, values, top, looks, CLIFF_ROUNDS if cliffs else 0)
    if not lost.any():
        return found
    where = np.flatnonzero(lost)
    again = grip_limit(
        take(launcher, where), index, entry_speed[where], entry_spin[where], top[where], looks=looks,
        cliffs=cliffs, options=options, way=take(way, where), coarse=whole,
    )  # fmt: skip
    for name in GripLimit.__dataclass_fields__:
        getattr(found, name)[where] = getattr(again, name)
    return found


def _refine(curves: Curves, grid: Floats, values: Floats, top: Floats, looks: Looks, cliff_rounds: int) -> GripLimit:
    """The grip limit on a curve known at `grid`, shape (candidates, lanes)."""
    lanes, best = np.arange(top.size), np.argmax(values, axis=0)
    first_through, last_through = _cliffs(curves, grid, values, best, cliff_rounds)
    curve = curves()
    known, at = sharpen(curve, grid, values, looks)
    best = np.argmax(at, axis=0)
    peak_speed, peak_exit = known[best, lanes], at[best, lanes]
    speed, exit_speed = first_above(curve, NEARLY * peak_exit, known, at, looks)
    edge = known[np.argmax(at >= HARDLY_LESS * peak_exit, axis=0), lanes]
    none = _rising(known, at, peak_speed, top) | (peak_exit <= 0)
    return GripLimit(
        wheel_speed=np.where(none, np.nan, speed), exit_speed=np.where(none, np.nan, exit_speed),
        peak_speed=peak_speed, peak_exit=peak_exit, edge=edge, first_through=first_through, last_through=last_through,
    )  # fmt: skip


def _rising(grid: Floats, values: Floats, peak_speed: Floats, top: Floats) -> NDArray[np.bool_]:
    """Whether exit speed still rises clearly at the end of the range."""
    lanes = np.arange(top.size)
    before = np.max(np.where(grid < (1 - 1e-3) * top, np.arange(len(grid))[:, None], 0), axis=0)
    slope = (values[-1] - values[before, lanes]) / np.maximum(values[-1], 1e-12)
    width = 1 - grid[before, lanes] / np.where(top > 0, top, 1.0)
    at_end = (grid[-1] >= top * (1 - 1e-9)) & (peak_speed > 0.97 * top)
    return np.asarray(at_end & (slope > STILL_RISING * width))


def _cliffs(curves: Curves, grid: Floats, values: Floats, best: NDArray[np.intp], rounds: int) -> tuple[Floats, Floats]:
    """The settings next to the jams below and above the peak; the ends of the grid where there are none."""
    lanes, rows = np.arange(best.size), np.arange(len(grid))[:, None]
    jams = values <= 0
    below = np.max(np.where(jams & (rows < best), rows, -1), axis=0)
    above = np.min(np.where(jams & (rows > best), rows, len(grid)), axis=0)
    low, high = grid[below + 1, lanes], grid[above - 1, lanes]
    left, right = np.flatnonzero(below >= 0), np.flatnonzero(above < len(grid))
    both = np.concatenate([left, right])
    if rounds and both.size:
        jam = np.concatenate([grid[below[left], left], grid[above[right], right]])
        low[left], high[right] = np.split(
            _closer(curves(both), jam, np.concatenate([low[left], high[right]]), rounds), [left.size]
        )
    return low, high


def _closer(curve: Curve, jam: Floats, free: Floats, rounds: int) -> Floats:
    """The setting next to the jam, between one that jams and one that does not."""
    steps = np.linspace(0.0, 1.0, CLIFF_POINTS)[1:-1, None]
    for _ in range(rounds):
        between = jam + (free - jam) * steps
        jam, free = _last_jam(jam, between, free, curve(between) <= 0)
    return free


def _last_jam(jam: Floats, between: Floats, free: Floats, jammed: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Neighbours on the way from a jam to a free setting: the last that jams, the first that does not."""
    places = np.vstack([jam, between, free])
    last = len(between) - np.argmax(jammed[::-1], axis=0)
    last = np.where(jammed.any(axis=0), last, 0)
    lanes = np.arange(jam.size)
    return places[last, lanes], places[last + 1, lanes]

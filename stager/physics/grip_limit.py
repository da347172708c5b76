"""The grip limit of a stage: one finder for plan, sweep, fit and bench.

The grip limit is the least wheel speed whose exit speed is within 0.1 % of the greatest one in the range, looking up
from the first setting that does not jam; past it more wheel speed only slips. A tyre that grows as it turns presses
harder, so that exit speed may creep up for ever though the contact only slips. Where that adds less than a tenth of
what it takes, 0.1 % of exit speed for 1 % of wheel speed, it does not count: the greatest of
exit speed / wheel speed^0.1, of wheels at least half as fast as the projectile, takes the place of the greatest exit
speed. There is no grip limit where exit speed rises faster than that at the end of the range.

For a pair at two speeds it is that of the leading wheel, the side that drives the spin forward: the other wheel is the
slower one, grips as long as the leading one does, and lies the same difference lower.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.batch import take
from stager.physics.chain import DEFAULT, QUICK, Options, transit
from stager.physics.records import Transit

NEARLY, HARDLY_LESS = 0.999, 1 - 2e-5
"""Shares of the greatest exit speed at the grip limit, and where it is hardly missed [-]."""
IDLE = 0.5
"""Slowest wheel that is looked at, as a share of the entry speed: a slower one only brakes [-]."""
STILL_RISING = 1e-2
TINY = 1e-12
CREEPING = 0.1
"""Share of exit speed per share of wheel speed below which a rise does not count [-]."""
BETTER = 1e-3
"""By how much a slower wheel must be the better trade for the greatest exit speed not to count [-]."""
COARSE, COARSE_OF_MANY, COARSE_NEAR = 64, 40, 16
"""Settings that are looked at first: over the whole range, of many samples, near a known place."""
MANY = 24
AROUND = 0.8, 1.25

Curve = Callable[[Floats], Floats]
"""Values at candidates, both of shape (candidates, lanes)."""


class Looks(NamedTuple):
    """How closely a search looks: rounds of refinement; close: where each looks about a peak, as shares of the way to
    its neighbours; crossing: places that each looks at where a level is crossed."""

    rounds: int
    close: tuple[float, ...] = (-0.3, -0.1, -0.03, -0.01, -0.003, 0.0, 0.003, 0.01, 0.03, 0.1, 0.3)
    crossing: int = 10


CLOSELY, FAIRLY = Looks(3), Looks(2)
"""How closely the finder looks."""


class Way(Protocol):
    """A projectile's way through one stage, the leading wheel at `wheel_speed`; as `physics.chain.transit`."""

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """Speeds [m/s], spin [rad/s]; the leading wheel is the transit's side A."""
        ...


@dataclass(frozen=True, slots=True)
class Apart:
    """The other wheel runs slower by `gap` [m/s], a float or an array over the lanes."""

    gap: Number

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See Way."""
        other = np.maximum(wheel_speed - np.asarray(self.gap), 0.0)
        return transit(launcher, index, entry_speed, wheel_speed, other, entry_spin=entry_spin, options=options)


@dataclass(frozen=True, slots=True, kw_only=True)
class GripLimit:
    """Shapes (lanes,). wheel_speed [m/s] (NaN: exit speed still rises at the end of the range, or all jam) with the
    exit_speed there [m/s]; peak_speed, peak_exit: the setting of the greatest exit speed, and that [m/s];
    edge: the least setting that hardly misses it [m/s]."""

    wheel_speed: Floats
    exit_speed: Floats
    peak_speed: Floats
    peak_exit: Floats
    edge: Floats


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
    options: Options = QUICK,
    way: Way = transit,
    coarse: int | None = None,
    places: int = COARSE_NEAR,
) -> GripLimit:
    """Grip limit of stage `index` for projectiles entering at `entry_speed` [m/s], `entry_spin` [rad/s].

    All of shape (lanes,), as any arrays in `launcher`; top: end of the range [m/s]; near: about where it must be
    [m/s], where that is known, within the factors `around`; way: how a stage is passed, the wheel speeds being those of
    its leading wheel; coarse: settings over the whole range that are looked at first (None: fewer where there are many
    lanes); places: those looked at first about `near`.
    """
    entry_speed, entry_spin, top = np.broadcast_arrays(entry_speed, entry_spin, top)
    whole = coarse or (COARSE_OF_MANY if top.size > MANY else COARSE)
    low, high, bend = np.minimum(IDLE * entry_speed, top), top, 1.5
    if near is not None:
        low, high, bend = np.minimum(around[0] * near, top), np.minimum(around[1] * near, top), 1.0
    count = whole if near is None else places
    # Much slower than the projectile a wheel only brakes. Above, the whole range is looked at finer near the entry.
    grid = low + (high - low) * np.linspace(0.0, 1.0, count)[:, None] ** bend

    def curve(speeds: Floats) -> Floats:
        return way(launcher, index, entry_speed, speeds, entry_spin=entry_spin, options=options).exit_speed

    values = curve(grid)
    best = np.argmax(values, axis=0)
    lost = ((best == 0) | ((best == count - 1) & (high < top))) if near is not None else np.zeros(top.shape, bool)
    found = _refine(curve, grid, values, top, looks)
    if not lost.any():
        return found
    where = np.flatnonzero(lost)
    again = grip_limit(
        take(launcher, where), index, entry_speed[where], entry_spin[where], top[where], looks=looks,
        options=options, way=take(way, where), coarse=whole,
    )  # fmt: skip
    for name in GripLimit.__dataclass_fields__:
        getattr(found, name)[where] = getattr(again, name)
    return found


def _refine(curve: Curve, grid: Floats, values: Floats, top: Floats, looks: Looks) -> GripLimit:
    """Return the grip limit on a curve known at `grid`, shape (candidates, lanes)."""
    lanes = np.arange(top.size)
    known, at = sharpen(curve, grid, values, looks)
    best = np.argmax(at, axis=0)
    peak_speed, peak_exit = known[best, lanes], at[best, lanes]
    known, at, sooner = _trade(curve, known, at, peak_speed, peak_exit, looks)
    level = np.where(sooner > 0, sooner, peak_exit)
    speed, exit_speed = first_above(curve, NEARLY * level, known, at, looks)
    edge = known[np.argmax(at >= HARDLY_LESS * peak_exit, axis=0), lanes]
    none = ((sooner == 0) & _rising(known, at, peak_speed, top)) | (peak_exit <= 0)
    return GripLimit(
        wheel_speed=np.where(none, np.nan, speed), exit_speed=np.where(none, np.nan, exit_speed),
        peak_speed=peak_speed, peak_exit=peak_exit, edge=edge,
    )  # fmt: skip


def _trade(
    curve: Curve, grid: Floats, values: Floats, peak_speed: Floats, peak_exit: Floats, looks: Looks
) -> tuple[Floats, Floats, Floats]:
    """Return the curve, with more places where they are needed, and the exit speed at the best trade of exit speed for
    wheel speed, 0 where that is the greatest exit speed, or hardly better than it."""

    def worth(speeds: Floats, exits: Floats) -> Floats:
        """Return the exit speed as it counts."""
        return np.asarray(exits * (np.maximum(speeds, TINY) / np.maximum(peak_speed, TINY)) ** -CREEPING)

    lanes = np.arange(peak_speed.size)
    traded = worth(grid, values)
    if not (traded.max(axis=0) > (1 + BETTER) * peak_exit).any():
        return grid, values, np.zeros(peak_speed.shape)
    grid, traded = sharpen(lambda speeds: worth(speeds, curve(speeds)), grid, traded, looks)
    best = np.argmax(traded, axis=0)
    values = traded / worth(grid, np.ones(grid.shape))
    better = traded[best, lanes] > (1 + BETTER) * peak_exit
    return grid, values, np.where(better, values[best, lanes], 0.0)


def _rising(grid: Floats, values: Floats, peak_speed: Floats, top: Floats) -> NDArray[np.bool_]:
    """Return whether exit speed still rises clearly at the end of the range."""
    lanes = np.arange(top.size)
    before = np.max(np.where(grid < (1 - 1e-3) * top, np.arange(len(grid))[:, None], 0), axis=0)
    slope = (values[-1] - values[before, lanes]) / np.maximum(values[-1], 1e-12)
    width = 1 - grid[before, lanes] / np.where(top > 0, top, 1.0)
    at_end = (grid[-1] >= top * (1 - 1e-9)) & (peak_speed > 0.97 * top)
    return np.asarray(at_end & (slope > STILL_RISING * width))


def sharpen(curve: Curve, grid: Floats, values: Floats, looks: Looks) -> tuple[Floats, Floats]:
    """The curve known at `grid`, shape (candidates, lanes), rising along the first axis, with more places about its
    greatest value.

    That may be a kink: each round looks where lines through the neighbours on either side meet, close by, and
    half-way out. A curve that ends in a jam, 0, is halved instead.
    """
    close = np.array(looks.close)[:, None]
    for _ in range(looks.rounds):
        low, middle, high, meeting = _about_peak(grid, values)
        reach = np.maximum(high - middle, middle - low)
        tried = np.clip(meeting + reach * close, low, high)
        more = np.vstack([tried, (low + middle) / 2, (middle + high) / 2])
        grid, values = merge(grid, values, more, curve(more))
    return grid, values


def _about_peak(grid: Floats, values: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Neighbours of the greatest value, itself between them, and where the lines on either side meet."""
    lanes, last = np.arange(grid.shape[1]), len(grid) - 1
    best = np.argmax(values, axis=0)
    left, right = np.maximum(best - 1, 0), np.minimum(best + 1, last)
    low, middle, high = grid[left, lanes], grid[best, lanes], grid[right, lanes]
    rise = _slope(grid, values, np.maximum(best - 2, 0), left)
    fall = _slope(grid, values, right, np.minimum(best + 2, last))
    usable = (rise > 0) & (fall < 0) & (values[right, lanes] > 0)
    gap = values[right, lanes] - values[left, lanes] - rise * (high - low)
    meeting = high - np.where(usable, gap / np.where(usable, fall - rise, 1.0), 0.0)
    jam = values[right, lanes] <= 0
    centre = np.where(jam, (middle + high) / 2, middle)
    return low, middle, high, np.where(usable, np.clip(meeting, low, high), centre)


def _slope(grid: Floats, values: Floats, first: NDArray[np.intp], second: NDArray[np.intp]) -> Floats:
    lanes = np.arange(grid.shape[1])
    width = grid[second, lanes] - grid[first, lanes]
    return (values[second, lanes] - values[first, lanes]) / np.where(width > 0, width, np.inf)


def merge(grid: Floats, values: Floats, more: Floats, found: Floats) -> tuple[Floats, Floats]:
    """Return a curve with more places put in order."""
    grid, values = np.vstack([grid, more]), np.vstack([values, found])
    order = np.argsort(grid, axis=0, kind="stable")
    return np.take_along_axis(grid, order, axis=0), np.take_along_axis(values, order, axis=0)


def first_above(curve: Curve, level: Floats, grid: Floats, values: Floats, looks: Looks) -> tuple[Floats, Floats]:
    """Return the least place where the curve reaches `level` (lanes,), and its value there; NaN where it never does.

    grid, values: the curve as known, shape (candidates, lanes), rising along the first axis. Between the last two
    places looked at the curve is taken to be straight.
    """
    lanes = np.arange(values.shape[1])
    some = (values >= level).any(axis=0)
    for _ in range(looks.rounds - 1):
        first = np.argmax(values >= level, axis=0)
        low, high = grid[np.maximum(first - 1, 0), lanes], grid[first, lanes]
        reached = values[first, lanes]
        grid = low + (high - low) * np.linspace(0.0, 1.0, looks.crossing)[:, None]
        values = curve(grid)
        values[-1] = np.maximum(values[-1], np.where(some, np.maximum(reached, level), values[-1]))
    first = np.argmax(values >= level, axis=0)
    before = np.maximum(first - 1, 0)
    low, high, under, over = grid[before, lanes], grid[first, lanes], values[before, lanes], values[first, lanes]
    # From 0, a jam, the curve jumps.
    straight = (under > 0) & (under < level) & (over > under)
    share = np.where(straight, (level - under) / np.where(straight, over - under, 1.0), 1.0)
    place, value = low + share * (high - low), under + share * (over - under)
    return np.where(some, place, np.nan), np.where(some, value, np.nan)

"""The grip limit of a stage, for plan, sweep, fit and bench.

The grip limit is the least wheel speed whose exit speed is within 0.1 % of the greatest one in the speed range; above
it a faster wheel only slips more. A tyre grows with its speed and presses harder, so that exit speed may rise slowly
while the contact slips. A rise of less than 0.1 % of exit speed for 1 % of wheel speed is ignored: the exit speed at
the greatest exit speed / wheel speed^0.1, over wheels at least half as fast as the projectile, then stands for the
greatest exit speed. There is no grip limit where exit speed rises faster than that at the end of the range.

Where wheels must stay a share below their grip limit, it is sought beyond the range too, as far as any wheel within the
range could be too close to it. So where there is none, every wheel within the range keeps that margin.

Of a pair at two speeds it is that of the leading wheel, the side that drives the spin forward. The other wheel is
slower by a constant difference and grips as long as the leading one does.

Where the stages before still hold the projectile as it enters, they push and brake it too. The exit speed is then that
of the chain up to the stage, whose other wheels keep their speeds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.barrel import coupled, run_up
from stager.physics.chain import DEFAULT, QUICK, SURE, Options, throw, transit
from stager.physics.records import FIELDS, Transit, take

GRIP_SHARE = 0.999
"""Exit speed at the grip limit by the greatest one [-]: the definition."""
PLATEAU_SHARE = 1 - 2e-5
"""Exit speed at the edge of the plateau by the greatest one [-]: the noise of QUICK throws, 1e-5, stays below."""
SLOWEST_WHEEL = 0.5
"""Start of the speed range by the entry speed [-]: slower wheels only brake."""
RISING_SLOPE = 1e-2
"""d ln(exit speed) / d ln(wheel speed) at the end of the range above which exit speed still rises [-]."""
END_SHARE = 0.97
"""Wheel speed of the greatest exit speed, by the end of the range, above which the peak counts as at the end [-]."""
TINY = 1e-12
"""Keeps divisors above 0."""
IGNORED_SLOPE = 0.1
"""d ln(exit speed) / d ln(wheel speed) up to which a rise is ignored [-]: the definition."""
DISCOUNT_GAIN = 1e-3
"""Gain in the discounted exit speed below which the greatest exit speed itself is taken [-]."""
GRID_POINTS = 64
"""Settings of the first grid over the whole range, for few samples."""
GRID_POINTS_MANY = 40
"""The same for more than MANY samples."""
GRID_POINTS_NEAR = 16
"""Settings of the first grid about an estimate."""
MANY = 24
"""Samples above which the coarser grid is taken."""
NEAR_FACTORS = 0.8, 1.25
"""Ends of the grid about an estimate, by the estimate [-]."""

Curve = Callable[[Floats], Floats]
"""Exit speed by wheel speed [m/s], both of shape (candidates, samples)."""


class Refinement(NamedTuple):
    """How a search is refined.

    rounds: number of refinements
    offsets: candidates of a round about the estimated peak, as shares of the distance to its neighbours [-]
    crossing_points: candidates of a round between the last point below a level and the first above
    """

    rounds: int
    offsets: tuple[float, ...] = (-0.3, -0.1, -0.03, -0.01, -0.003, 0.0, 0.003, 0.01, 0.03, 0.1, 0.3)
    crossing_points: int = 10


FINE = Refinement(3)
"""For single stages."""
STANDARD = Refinement(2)
"""For many stages or samples."""


class TransitFunction(Protocol):
    """A transit through one stage by the speed of its leading wheel; `physics.chain.transit` is one."""

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """Return the transit with the leading wheel as side A; speeds [m/s], spin [rad/s]."""
        ...


@dataclass(frozen=True, slots=True)
class TwoSpeeds:
    """A transit through a pair whose side B is slower than side A by `gap` [m/s], a float or array (samples,)."""

    gap: Number

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """Return the transit; see TransitFunction."""
        other = np.maximum(wheel_speed - np.asarray(self.gap), 0.0)
        return transit(launcher, index, entry_speed, wheel_speed, other, entry_spin=entry_spin, options=options)


@dataclass(frozen=True, slots=True)
class Coupled:
    """A transit through a stage that takes hold of the projectile before the stages before it let go.

    It is a throw from the feed through all of them, so that it does not need the entry speed and spin it is given.

    before_a, before_b: speeds of sides A and B of the stages before it [m/s], an array (samples,) or (1,) for each
    gap: speed of side A of the stage less that of side B, of either sign [m/s]; the faster side leads
    """

    before_a: tuple[Floats, ...]
    before_b: tuple[Floats, ...]
    gap: Number = 0.0

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """Return the transit; see TransitFunction."""
        gap = np.asarray(self.gap)
        other = np.maximum(wheel_speed - np.abs(gap), 0.0)
        side_a, side_b = np.where(gap < 0, other, wheel_speed), np.where(gap < 0, wheel_speed, other)
        chain_a = np.stack(np.broadcast_arrays(*self.before_a, side_a), axis=-1)
        chain_b = np.stack(np.broadcast_arrays(*self.before_b, side_b), axis=-1)
        done = throw(launcher, chain_a, chain_b, options=options)
        return Transit(**{name: getattr(done.stages, name)[..., -1] for name in FIELDS})

    def entry(self, launcher: Launcher, options: Options = DEFAULT) -> tuple[Floats, Floats]:
        """Return speed [m/s] and spin [rad/s] as the projectile first touches the wheels; 0 where it jams before."""
        done = self(launcher, len(self.before_a), 0.0, self.before_a[-1], options=options)
        return done.entry_speed, done.entry_spin


@dataclass(frozen=True, slots=True, kw_only=True)
class StageArrival:
    """How the projectile comes to a stage, and passes it.

    entry_speed, entry_spin: as it first touches the wheels [m/s], [rad/s], (samples,); 0 where it jams before
    transit_function: the transit through the stage by the speed of its leading wheel
    """

    entry_speed: Floats
    entry_spin: Floats
    transit_function: TransitFunction

    @property
    def coupled(self) -> bool:
        """Whether the stage before may still hold the projectile as it enters."""
        return isinstance(self.transit_function, Coupled)

    def exit_speed(self, launcher: Launcher, index: int, wheel_speed: Floats, options: Options = SURE) -> Floats:
        """Return the exit speed of stage `index` by the speed of its leading wheel [m/s]."""
        passed = self.transit_function(
            launcher, index, self.entry_speed, wheel_speed, entry_spin=self.entry_spin, options=options
        )
        return passed.exit_speed

    def grip_limit(
        self, launcher: Launcher, index: int, top: Floats, margin: float, *, refinement: Refinement = FINE,
        options: Options = QUICK,
    ) -> GripLimit:  # fmt: skip
        """Return the grip limit of stage `index` at this arrival; arguments as of the function of this name."""
        return grip_limit(
            launcher, index, self.entry_speed, self.entry_spin, top, margin=margin, refinement=refinement,
            options=options, transit_function=self.transit_function,
        )  # fmt: skip


def arrive(
    launcher: Launcher,
    before_a: Floats,
    before_b: Floats,
    top: Number,
    *,
    transit_function: TransitFunction = transit,
    options: Options = DEFAULT,
) -> StageArrival:
    """Return how the projectile comes to the stage behind wheels at given speeds.

    Parameters
    ----------
    launcher : Launcher
        Arrays in it have the shape (samples,).
    before_a, before_b : ndarray, shape (index,) or (samples, index)
        Surface speeds of sides A and B of the stages before it [m/s].
    top : float or ndarray, shape (samples,)
        End of the speed range of the stage, which tells how far its wheels may grow [m/s].
    transit_function : TransitFunction
        Transit through the stage where those before it have let the projectile go.
    options : Options
        Accuracy of the throw through the stages before it.
    """
    index = np.shape(before_a)[-1]
    if index == 0:
        fed = launcher.feed
        speed, spin = (np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in (fed.speed, fed.spin))
        return StageArrival(entry_speed=speed, entry_spin=spin, transit_function=transit_function)
    before_a, before_b = np.atleast_2d(before_a), np.atleast_2d(before_b)
    if coupled(launcher, index, np.full(1, np.max(top))):
        chain = Coupled(tuple(before_a.T), tuple(before_b.T))
        speed, spin = chain.entry(launcher, options)
        return StageArrival(entry_speed=speed, entry_spin=spin, transit_function=chain)
    done = throw(launcher, before_a, before_b, options=options)
    fastest = np.full(1, np.maximum(before_a, before_b)[:, -1].max())
    speed = run_up(launcher, index, done.exit_speed, fastest)
    return StageArrival(entry_speed=speed, entry_spin=done.spin, transit_function=transit_function)


@dataclass(frozen=True, slots=True, kw_only=True)
class GripLimit:
    """Grip limit of a stage; every field has the shape (samples,).

    wheel_speed: the grip limit [m/s], beyond the range where a margin asks for it; NaN where exit speed still rises at
    the end of what was searched, or all settings jam
    exit_speed: exit speed there [m/s]
    peak_speed, peak_exit: within the range, wheel speed of the greatest exit speed, and that exit speed [m/s]
    edge: least wheel speed on the plateau, where exit speed is PLATEAU_SHARE of that one [m/s]
    """

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
    margin: float = 0.0,
    near: Floats | None = None,
    around: tuple[float, float] = NEAR_FACTORS,
    refinement: Refinement = FINE,
    options: Options = QUICK,
    transit_function: TransitFunction = transit,
    grid_points: int | None = None,
    near_points: int = GRID_POINTS_NEAR,
) -> GripLimit:
    """Return the grip limit of stage `index`.

    Parameters
    ----------
    launcher : Launcher
        Arrays in it have the shape (samples,).
    index : int
        Stage, counted from 0.
    entry_speed, entry_spin : ndarray, shape (samples,)
        Of the projectile into the stage [m/s], [rad/s].
    top : ndarray, shape (samples,)
        End of the speed range [m/s].
    margin : float
        Share that wheels must stay below their grip limit [-].
    near : ndarray, shape (samples,), optional
        Estimate of the grip limit [m/s].
    around : tuple of float
        Ends of the first grid about the estimate, by the estimate [-].
    refinement : Refinement
        How the search is refined.
    options : Options
        Accuracy of the throws.
    transit_function : TransitFunction
        Transit by the speed of the leading wheel.
    grid_points : int, optional
        Settings of the first grid over the whole range; by default fewer for many samples.
    near_points : int
        Settings of the first grid about the estimate.

    Returns
    -------
    GripLimit
    """
    entry_speed, entry_spin, top = np.broadcast_arrays(entry_speed, entry_spin, top)
    whole = grid_points or (GRID_POINTS_MANY if top.size > MANY else GRID_POINTS)
    end = top * _beyond(margin)
    low, high, exponent = np.minimum(SLOWEST_WHEEL * entry_speed, end), end, 1.5
    if near is not None:
        low, high, exponent = np.minimum(around[0] * near, end), np.minimum(around[1] * near, end), 1.0
    count = whole if near is None else near_points
    # Over the whole range the grid is finer near the entry speed.
    grid = low + (high - low) * np.linspace(0.0, 1.0, count)[:, None] ** exponent

    def curve(speeds: Floats) -> Floats:
        done = transit_function(launcher, index, entry_speed, speeds, entry_spin=entry_spin, options=options)
        return done.exit_speed

    values = curve(grid)
    best = np.argmax(values, axis=0)
    # The peak lies outside the grid about the estimate: search the whole range.
    outside = ((best == 0) | ((best == count - 1) & (high < end))) if near is not None else np.zeros(top.shape, bool)
    found = _refine(curve, grid, values, top, end, refinement)
    if not outside.any():
        return found
    where = np.flatnonzero(outside)
    again = grip_limit(
        take(launcher, where), index, entry_speed[where], entry_spin[where], top[where], margin=margin,
        refinement=refinement, options=options, transit_function=take(transit_function, where), grid_points=whole,
    )  # fmt: skip
    for name in GripLimit.__dataclass_fields__:
        getattr(found, name)[where] = getattr(again, name)
    return found


def _beyond(margin: float) -> float:
    """Return how far a grip limit is sought, by the end of the range [-].

    One of which no wheel within the range keeps the margin is at the end of the range / (1 − margin) at most. It counts
    as found where its peak is within END_SHARE of what is searched.
    """
    return 1.0 / ((1.0 - margin) * GRIP_SHARE * END_SHARE) if margin else 1.0


def _refine(
    curve: Curve, grid: Floats, values: Floats, top: Floats, end: Floats, refinement: Refinement
) -> GripLimit:  # fmt: skip
    """Return the grip limit of a curve with `values` at `grid`, each (candidates, samples).

    top, end: end of the speed range, and of what is searched [m/s], (samples,).
    """
    samples = np.arange(top.size)
    known, at = sharpen(curve, grid, values, refinement)
    best = np.argmax(at, axis=0)
    peak_speed, peak_exit = known[best, samples], at[best, samples]
    known, at, discounted = _discounted_peak(curve, known, at, peak_speed, peak_exit, refinement)
    level = np.where(discounted > 0, discounted, peak_exit)
    speed, exit_speed = first_above(curve, GRIP_SHARE * level, known, at, refinement)
    none = ((discounted == 0) & _rising(known, at, peak_speed, end)) | (peak_exit <= 0)
    if (end > top).any():
        last = top[None].copy()
        known, at = merge(known, at, last, curve(last))
        at = np.where(known <= top, at, 0.0)
        best = np.argmax(at, axis=0)
        peak_speed, peak_exit = known[best, samples], at[best, samples]
    edge = known[np.argmax(at >= PLATEAU_SHARE * peak_exit, axis=0), samples]
    return GripLimit(
        wheel_speed=np.where(none, np.nan, speed), exit_speed=np.where(none, np.nan, exit_speed),
        peak_speed=peak_speed, peak_exit=peak_exit, edge=edge,
    )  # fmt: skip


def _discounted_peak(
    curve: Curve, grid: Floats, values: Floats, peak_speed: Floats, peak_exit: Floats, refinement: Refinement
) -> tuple[Floats, Floats, Floats]:
    """Return the refined curve, and the exit speed where exit speed / wheel speed^IGNORED_SLOPE is greatest [m/s].

    0 where that is at the greatest exit speed, or gains less than DISCOUNT_GAIN on it.
    """

    def discount(speeds: Floats, exits: Floats) -> Floats:
        return np.asarray(exits * (np.maximum(speeds, TINY) / np.maximum(peak_speed, TINY)) ** -IGNORED_SLOPE)

    samples = np.arange(peak_speed.size)
    discounted = discount(grid, values)
    if not (discounted.max(axis=0) > (1 + DISCOUNT_GAIN) * peak_exit).any():
        return grid, values, np.zeros(peak_speed.shape)
    grid, discounted = sharpen(lambda speeds: discount(speeds, curve(speeds)), grid, discounted, refinement)
    best = np.argmax(discounted, axis=0)
    values = discounted / discount(grid, np.ones(grid.shape))
    better = discounted[best, samples] > (1 + DISCOUNT_GAIN) * peak_exit
    return grid, values, np.where(better, values[best, samples], 0.0)


def _rising(grid: Floats, values: Floats, peak_speed: Floats, end: Floats) -> NDArray[np.bool_]:
    """Return whether exit speed rises faster than RISING_SLOPE at the end of what is searched, (samples,)."""
    samples = np.arange(end.size)
    before = np.max(np.where(grid < (1 - 1e-3) * end, np.arange(len(grid))[:, None], 0), axis=0)
    slope = (values[-1] - values[before, samples]) / np.maximum(values[-1], TINY)
    width = 1 - grid[before, samples] / np.where(end > 0, end, 1.0)
    at_end = (grid[-1] >= end * (1 - 1e-9)) & (peak_speed > END_SHARE * end)
    return np.asarray(at_end & (slope > RISING_SLOPE * width))


def sharpen(curve: Curve, grid: Floats, values: Floats, refinement: Refinement) -> tuple[Floats, Floats]:
    """Return the curve with more points about its greatest value, each (candidates, samples), ordered along axis 0.

    The peak may be a kink: each round adds points about the intersection of the secants on either side, and half-way
    to the neighbours. Where the next point is a jam, 0, the interval before it is halved.
    """
    offsets = np.array(refinement.offsets)[:, None]
    for _ in range(refinement.rounds):
        low, middle, high, meeting = _about_peak(grid, values)
        reach = np.maximum(high - middle, middle - low)
        tried = np.clip(meeting + reach * offsets, low, high)
        more = np.vstack([tried, (low + middle) / 2, (middle + high) / 2])
        grid, values = merge(grid, values, more, curve(more))
    return grid, values


def _about_peak(grid: Floats, values: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the left neighbour, the point and the right neighbour of the peak, and where the secants intersect."""
    samples, last = np.arange(grid.shape[1]), len(grid) - 1
    best = np.argmax(values, axis=0)
    left, right = np.maximum(best - 1, 0), np.minimum(best + 1, last)
    low, middle, high = grid[left, samples], grid[best, samples], grid[right, samples]
    rise = _slope(grid, values, np.maximum(best - 2, 0), left)
    fall = _slope(grid, values, right, np.minimum(best + 2, last))
    usable = (rise > 0) & (fall < 0) & (values[right, samples] > 0)
    gap = values[right, samples] - values[left, samples] - rise * (high - low)
    meeting = high - np.where(usable, gap / np.where(usable, fall - rise, 1.0), 0.0)
    jam = values[right, samples] <= 0
    centre = np.where(jam, (middle + high) / 2, middle)
    return low, middle, high, np.where(usable, np.clip(meeting, low, high), centre)


def _slope(grid: Floats, values: Floats, first: NDArray[np.intp], second: NDArray[np.intp]) -> Floats:
    samples = np.arange(grid.shape[1])
    width = grid[second, samples] - grid[first, samples]
    return (values[second, samples] - values[first, samples]) / np.where(width > 0, width, np.inf)


def merge(grid: Floats, values: Floats, more: Floats, found: Floats) -> tuple[Floats, Floats]:
    """Return a curve with the points `more` and their values `found` added, ordered along axis 0."""
    grid, values = np.vstack([grid, more]), np.vstack([values, found])
    order = np.argsort(grid, axis=0, kind="stable")
    return np.take_along_axis(grid, order, axis=0), np.take_along_axis(values, order, axis=0)


def first_above(
    curve: Curve, level: Floats, grid: Floats, values: Floats, refinement: Refinement
) -> tuple[Floats, Floats]:
    """Return the least setting at which the curve reaches `level` (samples,), and its value; NaN where it never does.

    grid, values: points of the curve, each (candidates, samples), ordered along axis 0. The last step is linear
    interpolation.
    """
    samples = np.arange(values.shape[1])
    some = (values >= level).any(axis=0)
    for _ in range(refinement.rounds - 1):
        first = np.argmax(values >= level, axis=0)
        low, high = grid[np.maximum(first - 1, 0), samples], grid[first, samples]
        reached = values[first, samples]
        grid = low + (high - low) * np.linspace(0.0, 1.0, refinement.crossing_points)[:, None]
        values = curve(grid)
        values[-1] = np.maximum(values[-1], np.where(some, np.maximum(reached, level), values[-1]))
    first = np.argmax(values >= level, axis=0)
    before = np.maximum(first - 1, 0)
    low, high = grid[before, samples], grid[first, samples]
    below, above = values[before, samples], values[first, samples]
    # The curve jumps from 0, a jam: no interpolation there.
    continuous = (below > 0) & (below < level) & (above > below)
    share = np.where(continuous, (level - below) / np.where(continuous, above - below, 1.0), 1.0)
    place, value = low + share * (high - low), below + share * (above - below)
    return np.where(some, place, np.nan), np.where(some, value, np.nan)

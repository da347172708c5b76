"""The state that a launcher settles into when it is thrown at a rate."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.batch import flatten, take
from stager.physics.chain import throw
from stager.physics.drive.lanes import lanes
from stager.physics.drive.train import build_train
from stager.physics.options import DEFAULT, QUICK, Options
from stager.physics.rate.books import Books, cycle_books
from stager.physics.rate.fixed import FixedPoint, fixed_point
from stager.physics.rate.follow import follow
from stager.physics.rate.rhythm import Rhythm, build_rhythm
from stager.physics.records import Grip, Throw

CLOSER = 0.2
"""Relative error of the wheel speeds, by the tolerance of the throws [-]."""
MOST, FARTHEST = 30, 150


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """First and settled throw at a rate; batch axes lead, stages (of throws) or wheels are last.

    rate [1/s]; first: throw from the set speeds; throw: settled; loss: share of exit speed lost between them [-];
    droop: share of its set speed that each wheel lacks right after a settled throw [-], missing: when the next one
    begins [-], both (..., wheels) in the rhythm's columns; books: energy of a settled cycle; converged; calls: throws
    it took.
    """

    rhythm: Rhythm
    rate: Number
    first: Throw
    throw: Throw
    loss: Floats
    droop: Floats
    missing: Floats
    books: Books
    converged: NDArray[np.bool_]
    calls: int

    @property
    def average_power(self) -> Floats:
        """What the supply delivers over a settled cycle [W]."""
        return self.books.delivered * self.rate

    @property
    def throws_per_charge(self) -> Floats | None:
        """Settled throws that the supply's charge is good for [-]; None where its capacity is not known."""
        capacity = self.rhythm.supply.capacity
        return None if capacity is None else np.asarray(capacity / self.books.charge)


def settled(
    launcher: Launcher,
    rate: Number,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    first: Throw | None = None,
    options: Options = DEFAULT,
) -> Settled | None:
    """The settled state at `rate` [1/s] with set surface speeds [m/s], shape (..., stages).

    first: the throw from the set speeds, if it is known already. None where a stage has no drive or the launcher no
    supply. The state is the fixed point of throw and recovery, found by Broyden's method on the wheel speeds at the
    start of the throw. A lane whose first or settled throw jams is not converged.
    """
    if launcher.supply is None or build_train(launcher, np.shape(wheel_speed)[-1]) is None:
        return None
    first = throw(launcher, wheel_speed, wheel_speed_b, options=options) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    rhythm = build_rhythm(launcher, 1 / rate, contact, wheel_speed, wheel_speed_b)
    return None if rhythm is None else settle_rhythm(rhythm, first, options)


def settle_rhythm(rhythm: Rhythm, first: Throw, options: Options = DEFAULT) -> Settled:
    """As `settled`, for a rhythm with its first throw; without options.books energies of the throw are 0."""
    rate = 1 / rhythm.interval
    shape = np.broadcast_shapes(first.exit_speed.shape, np.shape(rate))
    target = np.broadcast_to(rhythm.target, (*shape, rhythm.train.size))
    found = _search(rhythm, first, shape, options)
    speed = found.point.reshape(target.shape)
    done = first if np.array_equal(speed, target) else rhythm.throw(speed, options)
    after = rhythm.after(done)
    ended, ledger = rhythm.recover_with_books(after)
    jammed = done.jammed | first.jammed
    droop, missing = (np.where(target > 0, 1 - at / np.where(target > 0, target, 1.0), 0.0) for at in (after, speed))
    loss = 1 - done.exit_speed / np.where(first.exit_speed > 0, first.exit_speed, 1.0)
    return Settled(
        rhythm=rhythm, rate=rate, first=first, throw=done, loss=loss, droop=droop, missing=missing,
        books=cycle_books(rhythm, speed, done, ended, ledger),
        converged=found.converged.reshape(shape) & ~jammed, calls=found.calls,
    )  # fmt: skip


def _search(rhythm: Rhythm, first: Throw, shape: tuple[int, ...], options: Options) -> FixedPoint:
    bare, tolerance = replace(options, books=False), CLOSER * options.tolerance
    wheels = rhythm.train.size
    target = np.ascontiguousarray(lanes(rhythm.target, shape, wheels))
    every = Lined(rhythm, shape)
    after = np.ascontiguousarray(lanes(rhythm.after(first), shape, wheels))
    back = every.chosen(np.arange(len(target))).recover(after)
    share = np.where(target != after, (target - back) / np.where(target != after, target - after, 1.0), 0.0)
    slope = np.clip(share, 0.0, 0.999) * np.clip(lanes(_own_slope(rhythm, first), shape, wheels), 0.0, 1.0)

    def change(speed: Floats, index: NDArray[np.intp], call: int) -> Floats:
        here = every.chosen(index)
        return here.recover(here.after(here.throw(speed, QUICK if call == 0 else bare)))

    def cycle(speed: Floats, index: NDArray[np.intp]) -> tuple[Floats, NDArray[np.bool_]]:
        here = every.chosen(lost[index])
        done = here.throw(speed, bare)
        return here.recover(here.after(done)), done.jammed

    found = fixed_point(change, target, back, slope, target, tolerance=tolerance, most=MOST)
    lost = np.flatnonzero(~found.converged)
    if lost.size:
        point, there = follow(cycle, target[lost], target[lost], tolerance=tolerance, most=FARTHEST)
        found.point[lost], found.converged[lost] = point, there
    return found


class Lined:
    """A rhythm with its batch axes made one, to go on with some of its lanes."""

    def __init__(self, rhythm: Rhythm, shape: tuple[int, ...]) -> None:
        self.launcher = flatten(rhythm.launcher, shape)
        self.interval = lanes(np.asarray(rhythm.interval), shape)
        self.contact = lanes(np.asarray(rhythm.contact), shape)
        side_a, side_b = rhythm.by_side(rhythm.target * rhythm.train.radius)
        self.side_a = lanes(side_a, shape, rhythm.stages)
        self.side_b = lanes(side_b, shape, rhythm.stages) if rhythm.split else None

    def chosen(self, index: NDArray[np.intp]) -> Rhythm:
        """The rhythm of the lanes in `index`."""
        side_b = None if self.side_b is None else self.side_b[index]
        launcher = take(self.launcher, index)
        found = build_rhythm(launcher, self.interval[index], self.contact[index], self.side_a[index], side_b)
        if found is None:
            raise ValueError("a rhythm needs drives and a supply")
        return found


def _own_slope(rhythm: Rhythm, done: Throw) -> Floats:
    """Guess of how much of a wheel's speed before a throw is left after it [-], shape (..., wheels).

    All of it while it slips; in full grip projectile and wheel share what they bring, so that the wheel's part is
    1 − (loss of speed)/(u − v₀).
    """
    stages = done.stages
    excess = stages.wheel_speed_a - stages.entry_speed
    lost = stages.wheel_speed_a - stages.wheel_speed_after_a
    gripped = np.where((stages.grip == Grip.SYNC) & (excess > lost), 1 - lost / np.where(excess > 0, excess, 1.0), 1.0)
    return rhythm.train.columns(gripped, gripped)

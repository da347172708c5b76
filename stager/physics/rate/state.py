"""The state that a launcher settles into when it is thrown at a rate."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.batch import common_shape, lane, shape_of
from stager.physics.chain import as_throw, how, prepare, throw
from stager.physics.contact.columns import RECORD
from stager.physics.contact.packing import spread
from stager.physics.contact.run import share
from stager.physics.drive.transient import as_ledger, pack_holding, pack_supply, pack_wheels
from stager.physics.options import DEFAULT, Options
from stager.physics.rate.books import Books, cycle_books
from stager.physics.rate.rhythm import Rhythm, build_rhythm
from stager.physics.rate.settling import CALLS, CONVERGED, settle_samples
from stager.physics.records import FIELDS, Throw

SETTLING = 8
"""Throws that settling takes, for sharing it out."""


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
    if launcher.supply is None:
        return None
    first = throw(launcher, wheel_speed, wheel_speed_b, options=options) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    rhythm = build_rhythm(launcher, 1 / rate, contact, wheel_speed, wheel_speed_b)
    return None if rhythm is None else settle_rhythm(rhythm, first, options)


def settle_rhythm(rhythm: Rhythm, first: Throw, options: Options = DEFAULT) -> Settled:
    """As `settled`, for a rhythm with its first throw; without options.books energies of the throw are 0."""
    rate, wheels, stages = 1 / rhythm.interval, rhythm.train.size, rhythm.stages
    prepared = prepare(rhythm.launcher, stages)
    shape = common_shape(
        prepared.packed.shape, first.exit_speed.shape, shape_of(rate), rhythm.holding.bus_voltage.shape
    )
    samples = prod(shape)
    packed = spread(prepared.packed, shape)
    built, supply = pack_wheels(rhythm.train, shape), pack_supply(rhythm.supply, shape)
    settings, bus = pack_holding(rhythm.holding, shape, wheels)
    columns = list(zip(rhythm.train.stage, rhythm.train.side, strict=True))
    place = np.array([[columns.index((k, 0)) for k in range(stages)]] * 2, dtype=np.int64)
    for number, (k, side) in enumerate(columns):
        place[side, k] = number
    fed = np.zeros((samples, 2))
    fed[:, 0] = lane(rhythm.launcher.feed.speed, shape)
    records = np.empty((samples, RECORD, stages))
    for number, name in enumerate(FIELDS):
        records[:, number] = np.broadcast_to(getattr(first.stages, name), (*shape, stages)).reshape(samples, stages)
    rest = np.ascontiguousarray(np.broadcast_to(rhythm.rest, shape), dtype=np.float64).reshape(-1)
    point, ended = np.empty((2, samples, wheels))
    out, exits, found = np.empty((samples, RECORD, stages)), np.empty((samples, 3)), np.empty((samples, 2))
    energy, whole = np.empty((samples, wheels, 4)), np.empty((samples, 3))

    def work(low: int, high: int) -> None:
        lost = settle_samples(
            low, high, packed.body, packed.stages, packed.kinds, packed.laws, built, supply, settings, bus, place, fed,
            rest, records, how(options), point, out, exits, ended, energy, whole, found,
        )  # fmt: skip
        if lost:
            raise StagerError("a contact did not come to its end within the allowed number of steps")

    share(work, samples, SETTLING * stages)
    done = as_throw(out, exits, shape)
    speed, ended = point.reshape(*shape, wheels), ended.reshape(*shape, wheels)
    jammed, target = done.jammed | first.jammed, np.broadcast_to(rhythm.target, speed.shape)
    ledger = as_ledger(energy.reshape(*shape, wheels, 4), whole.reshape(*shape, 3))
    droop, missing = (
        np.where(target > 0, 1 - at / np.where(target > 0, target, 1.0), 0.0) for at in (rhythm.after(done), speed)
    )
    loss = 1 - done.exit_speed / np.where(first.exit_speed > 0, first.exit_speed, 1.0)
    return Settled(
        rhythm=rhythm, rate=rate, first=first, throw=done, loss=loss, droop=droop, missing=missing,
        books=cycle_books(rhythm, speed, done, ended, ledger),
        converged=(found[:, CONVERGED] > 0).reshape(shape) & ~jammed, calls=int(found[:, CALLS].max(initial=0.0)),
    )  # fmt: skip

"""The state that a launcher settles into when it is thrown at a rate: its energy, the greatest rate."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from stager.errors import NotComputable
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.batch import common_shape, lane, shape_of
from stager.physics.chain import DEFAULT, QUICK, Options, as_throw, how, prepare, throw
from stager.physics.contact.columns import RECORD
from stager.physics.contact.run import share, spread
from stager.physics.drive.supply import loaded_voltage
from stager.physics.drive.transient import Ledger, as_ledger, pack_holding, pack_supply, pack_wheels
from stager.physics.rate.cycle import Rhythm, build_rhythm
from stager.physics.rate.settling import CALLS, CONVERGED, settle_samples
from stager.physics.records import FIELDS, Throw

ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """Energies of one cycle [J]. Shape (..., wheels), for one wheel of each column:

    copper, no_load, windage: what becomes heat; wheel_work: what its side gives to the throw, ∫F·u; stored: what the
    wheel has more at the end. Shape (...), for all together: source: from the supply's open voltage; delivered: at its
    terminals; supply_heat: in its resistance; charge [C]. source = supply_heat + Σ count·(all the others).
    """

    copper: Floats
    no_load: Floats
    windage: Floats
    wheel_work: Floats
    stored: Floats
    source: Floats
    delivered: Floats
    supply_heat: Floats
    charge: Floats


def cycle_books(rhythm: Rhythm, start: Floats, done: Throw, end: Floats, recovery: Ledger) -> Books:
    """Books of a throw from `start` [rad/s] and of the recovery to `end` [rad/s], shapes (..., wheels)."""
    train, supply = rhythm.train, rhythm.supply
    contact = contact_ledger(rhythm, start, done)
    charge = contact.charge + recovery.charge
    supply_heat = contact.supply_heat + recovery.supply_heat
    source = supply.voltage * charge
    return Books(
        copper=contact.copper + recovery.copper,
        no_load=contact.no_load + recovery.no_load,
        windage=contact.windage + recovery.windage,
        wheel_work=train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b),
        stored=train.inertia * (end**2 - start**2) / 2,
        source=source, delivered=source - supply_heat, supply_heat=supply_heat, charge=charge,
    )  # fmt: skip


def contact_ledger(rhythm: Rhythm, start: Floats, done: Throw) -> Ledger:
    """Books of the time of the longest contact, every wheel's own contact first.

    The throw's record has what each motor did beyond holding its wheel, the motor's line its current at either end.
    """
    train, holding = rhythm.train, rhythm.holding
    end = rhythm.after(done)
    own = train.columns(done.stages.contact_time, done.stages.contact_time)
    whole = np.asarray(rhythm.contact)[..., None]
    given = train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b)
    work = given + train.inertia * (end**2 - start**2) / 2
    turned = (start + end) / 2 * own + end * (whole - own)
    extra, squared = _currents(rhythm, start, end, own, work)
    copper = train.resistance * (holding.current**2 * whole + 2 * holding.current * extra + squared)
    idle = train.pull * train.idle_current * turned
    drag = train.pull * holding.current * turned - idle
    electrical = copper + idle + drag + work
    total_energy = (train.count * electrical).sum(axis=-1)
    span = np.where(whole[..., 0] > 0, whole[..., 0], 1.0)
    power = total_energy / span
    current = power / loaded_voltage(rhythm.supply, power)
    return Ledger(
        electrical=electrical, copper=copper, no_load=idle, windage=drag,
        supply_heat=(rhythm.supply.voltage * current - power) * span, charge=current * span,
    )  # fmt: skip


def _currents(rhythm: Rhythm, start: Floats, end: Floats, time: Floats, work: Floats) -> tuple[Floats, Floats]:
    """∫e dt [A s] and ∫e² dt [A^2 s] of the currents e beyond those that hold the wheels, over contacts of `time` [s]
    from speeds `start` to `end` [rad/s] in which the motors do `work` [J] more than hold.

    On the motor's line ω = ω_set − eR/K, so that work = K·(ω_set ∫e − (R/K) ∫e²); between its ends e is taken to rise
    by the square of time and then to stay, as it does when a wheel slips and then grips, so long as gives that mean.
    """
    train, target = rhythm.train, rhythm.holding.angular_speed
    most = np.maximum(train.current_limit - rhythm.holding.current, 0.0)
    line = [train.pull * (target - speed) / train.resistance for speed in (start, end)]
    first, last = (np.clip(current, 0.0, most) for current in line)
    free = (line[0] <= most) & (line[1] <= most) & (target > 0)
    speed = (start + end) / 2
    total = plain = work / (train.pull * np.where(speed > 0, speed, 1.0))
    span = np.where(time > 0, time, 1.0)
    squared = np.zeros_like(plain)
    for _ in range(ROUNDS):
        squared = time * _mean_square(first, last, total / span)
        owed = (work + train.resistance * squared) / (train.pull * np.where(free, target, 1.0))
        total = np.where(free, owed, plain)
    return total, squared


def _mean_square(first: Floats, last: Floats, mean: Floats) -> Floats:
    """Mean square of a current of such a course from `first` to `last` with a given `mean` [A]; never below its square.

    Where it would rise to the very end and still have too great a mean, it rises by a higher power of time.
    """
    rise = last - first
    share = np.clip((mean - first) / np.where(rise != 0, rise, 1.0), 1e-6, 1.0)
    rising = np.where(share >= 1 / 3, 1 - 0.8 * 1.5 * (1 - share), 1 / (2 / share - 1))
    return np.maximum(first**2 + 2 * first * (mean - first) + rise**2 * rising, mean**2)


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
    """Return the settled state at `rate` [1/s] with set surface speeds [m/s], shape (..., stages).

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
            raise NotComputable("a contact did not come to its end within the allowed number of steps")

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


SLOWEST = 1e-2
SAMPLES = (8, 7, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class HighestRate:
    """rate [1/s], shape (...); by_contact: the loss allows throws that follow each other without a pause;
    never: not even one throw in 100 s keeps it."""

    rate: Floats
    by_contact: NDArray[np.bool_]
    never: NDArray[np.bool_]


def highest_rate(
    launcher: Launcher,
    loss: Number,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    first: Throw | None = None,
) -> HighestRate | None:
    """Highest rate [1/s] whose settled exit speed is at most `loss` [-] below the first, shape (...).

    wheel_speed, wheel_speed_b: set surface speeds [m/s], (..., stages); first: the throw from them, if known. Loss
    rises with the rate: it is looked at for rates between one throw in 100 s and throws without a pause, then closer,
    a few rates in one batch, and interpolated in the logarithm of the rate. None where a stage has no drive or the
    launcher no supply.
    """
    first = throw(launcher, wheel_speed, wheel_speed_b) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    rhythm = build_rhythm(launcher, 1.0, contact, wheel_speed, wheel_speed_b)
    if rhythm is None:
        return None
    low = np.full(contact.shape, np.log(SLOWEST))
    high = -np.log(np.where(contact > 0, contact, 1.0)) - 1e-6
    pauseless, excess, ends = high, np.zeros((2, *contact.shape)), None
    for samples in SAMPLES:
        at = np.linspace(low, high, samples)
        found = settle_rhythm(rhythm.at(np.exp(-at)), first, QUICK)
        excess = np.where(found.throw.jammed, 1.0, found.loss) - loss
        ends = (excess[0] > 0, excess[-1] <= 0) if ends is None else ends
        below = np.clip((excess <= 0).sum(axis=0) - 1, 0, samples - 2)[None]
        pair = np.concatenate([below, below + 1])
        low, high = np.take_along_axis(at, pair, axis=0)
        excess = np.take_along_axis(excess, pair, axis=0)
    span = excess[1] - excess[0]
    share = np.clip(-excess[0] / np.where(span != 0, span, 1.0), 0.0, 1.0)
    never, unbound = ends if ends is not None else (share < 0, share < 0)
    logarithm = np.where(unbound, pauseless, low + share * (high - low))
    return HighestRate(rate=np.where(never, 0.0, np.exp(logarithm)), by_contact=unbound, never=never)

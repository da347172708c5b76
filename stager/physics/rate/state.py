"""The settled state of throwing at a rate, its energies, and the highest rate within a loss of exit speed."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from stager.errors import NotComputable
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.batch import common_shape, as_samples, shape_of
from stager.physics.chain import DEFAULT, QUICK, Options, as_throw, options_array, prepare, throw
from stager.physics.contact.columns import RECORD
from stager.physics.contact.run import share, spread
from stager.physics.drive.supply import loaded_voltage
from stager.physics.drive.transient import MotorEnergies, motor_energies, pack_holding, pack_supply, pack_wheels
from stager.physics.rate.cycle import Cycle, build_cycle
from stager.physics.rate.settling import CALLS, CONVERGED, settle_samples
from stager.physics.records import FIELDS, Throw

ROUNDS = 4
"""Fixed-point iterations for the extra current of a contact [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleEnergies:
    """Energies of one cycle [J]; source = supply_heat + Σ count·(copper + no_load + windage + wheel_work + stored).

    For one wheel of each column, shape (..., wheels):
    copper, no_load, windage: losses; wheel_work: ∫F·u of its side; stored: gain of kinetic energy.
    For all together, shape (...):
    source: at the supply's open voltage; delivered: at its terminals; supply_heat: in its resistance; charge [C].
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


def cycle_energies(cycle: Cycle, start: Floats, done: Throw, end: Floats, recovery: MotorEnergies) -> CycleEnergies:
    """Return the energies of a throw from `start` [rad/s] and of the recovery to `end` [rad/s], (..., wheels)."""
    train, supply = cycle.train, cycle.supply
    contact = contact_energies(cycle, start, done)
    charge = contact.charge + recovery.charge
    supply_heat = contact.supply_heat + recovery.supply_heat
    source = supply.voltage * charge
    return CycleEnergies(
        copper=contact.copper + recovery.copper,
        no_load=contact.no_load + recovery.no_load,
        windage=contact.windage + recovery.windage,
        wheel_work=train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b),
        stored=train.inertia * (end**2 - start**2) / 2,
        source=source, delivered=source - supply_heat, supply_heat=supply_heat, charge=charge,
    )  # fmt: skip


def contact_energies(cycle: Cycle, start: Floats, done: Throw) -> MotorEnergies:
    """Return the energies over the time of the longest contact, with the wheels at `start` [rad/s] before the throw.

    The throw's record has the work of each motor above that which holds its wheel; its line has the current at either
    end of its own contact.
    """
    train, holding = cycle.train, cycle.holding
    end = cycle.after(done)
    own = train.columns(done.stages.contact_time, done.stages.contact_time)
    whole = np.asarray(cycle.contact)[..., None]
    given = train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b)
    work = given + train.inertia * (end**2 - start**2) / 2
    turned = (start + end) / 2 * own + end * (whole - own)
    extra, squared = _currents(cycle, start, end, own, work)
    copper = train.resistance * (holding.current**2 * whole + 2 * holding.current * extra + squared)
    idle = train.pull * train.idle_current * turned
    drag = train.pull * holding.current * turned - idle
    electrical = copper + idle + drag + work
    total_energy = (train.count * electrical).sum(axis=-1)
    span = np.where(whole[..., 0] > 0, whole[..., 0], 1.0)
    power = total_energy / span
    current = power / loaded_voltage(cycle.supply, power)
    return MotorEnergies(
        electrical=electrical, copper=copper, no_load=idle, windage=drag,
        supply_heat=(cycle.supply.voltage * current - power) * span, charge=current * span,
    )  # fmt: skip


def _currents(cycle: Cycle, start: Floats, end: Floats, time: Floats, work: Floats) -> tuple[Floats, Floats]:
    """Return ∫e dt [A s] and ∫e² dt [A^2 s] of the currents e above those that hold the wheels.

    Over contacts of `time` [s] from speeds `start` to `end` [rad/s], in which the motors do the extra `work` [J]. On
    the motor's line ω = ω_set − eR/K, so that work = K·(ω_set ∫e − (R/K) ∫e²). Between its ends e is assumed to rise
    with the square of time and then to stay, as for a wheel that slips and then grips, as long as gives that mean.
    """
    train, target = cycle.train, cycle.holding.angular_speed
    most = np.maximum(train.current_limit - cycle.holding.current, 0.0)
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
    """Return the mean square of such a current from `first` to `last` with a given `mean` [A^2], at least mean².

    Where the mean is below that of a rise over the whole time, the current rises with a higher power of time.
    """
    rise = last - first
    share = np.clip((mean - first) / np.where(rise != 0, rise, 1.0), 1e-6, 1.0)
    rising = np.where(share >= 1 / 3, 1 - 0.8 * 1.5 * (1 - share), 1 / (2 / share - 1))
    return np.maximum(first**2 + 2 * first * (mean - first) + rise**2 * rising, mean**2)


SETTLING = 8
"""Typical number of throws of the search, to cut it into chunks for threads [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """First and settled throw at a rate; batch axes lead, stages (of throws) or wheels are last.

    rate [1/s]
    first: throw from the set speeds; throw: settled throw; loss: share of exit speed lost between them [-]
    droop: share of its set speed that each wheel lacks right after a settled throw [-], (..., wheels)
    missing: the same when the next throw begins [-]; columns as in `cycle`
    energies: of a settled cycle
    converged: whether the search converged, False where a throw jams; calls: most throws that it took [-]
    """

    cycle: Cycle
    rate: Number
    first: Throw
    throw: Throw
    loss: Floats
    droop: Floats
    missing: Floats
    energies: CycleEnergies
    converged: NDArray[np.bool_]
    calls: int

    @property
    def average_power(self) -> Floats:
        """Return the mean power of the supply over a settled cycle [W]."""
        return self.energies.delivered * self.rate

    @property
    def throws_per_charge(self) -> Floats | None:
        """Return the settled throws from one charge of the supply [-]; None where its capacity is unknown."""
        capacity = self.cycle.supply.capacity
        return None if capacity is None else np.asarray(capacity / self.energies.charge)


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

    The fixed point of throw and recovery, by Broyden's method on the wheel speeds at the start of a throw.
    first: the throw from the set speeds, if known. None where a stage has no drive or the launcher no supply.
    """
    if launcher.supply is None:
        return None
    first = throw(launcher, wheel_speed, wheel_speed_b, options=options) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    cycle = build_cycle(launcher, 1 / rate, contact, wheel_speed, wheel_speed_b)
    return None if cycle is None else settle_cycle(cycle, first, options)


def settle_cycle(cycle: Cycle, first: Throw, options: Options = DEFAULT) -> Settled:
    """Return the settled state of a cycle with its first throw; without options.energies the throw's energies are 0."""
    rate, wheels, stages = 1 / cycle.interval, cycle.train.size, cycle.stages
    prepared = prepare(cycle.launcher, stages)
    shape = common_shape(
        prepared.packed.shape, first.exit_speed.shape, shape_of(rate), cycle.holding.bus_voltage.shape
    )
    samples = prod(shape)
    packed = spread(prepared.packed, shape)
    built, supply = pack_wheels(cycle.train, shape), pack_supply(cycle.supply, shape)
    settings, bus = pack_holding(cycle.holding, shape, wheels)
    columns = list(zip(cycle.train.stage, cycle.train.side, strict=True))
    place = np.array([[columns.index((k, 0)) for k in range(stages)]] * 2, dtype=np.int64)
    for number, (k, side) in enumerate(columns):
        place[side, k] = number
    fed = np.zeros((samples, 2))
    fed[:, 0] = as_samples(cycle.launcher.feed.speed, shape)
    fed[:, 1] = as_samples(cycle.launcher.feed.spin, shape)
    records = np.empty((samples, RECORD, stages))
    for number, name in enumerate(FIELDS):
        records[:, number] = np.broadcast_to(getattr(first.stages, name), (*shape, stages)).reshape(samples, stages)
    rest = np.ascontiguousarray(np.broadcast_to(cycle.rest, shape), dtype=np.float64).reshape(-1)
    point, ended = np.empty((2, samples, wheels))
    out, exits, found = np.empty((samples, RECORD, stages)), np.empty((samples, 3)), np.empty((samples, 2))
    energy, whole = np.empty((samples, wheels, 4)), np.empty((samples, 3))

    def work(low: int, high: int) -> None:
        lost = settle_samples(
            low, high, packed.body, packed.stages, packed.law_numbers, packed.laws, built, supply, settings, bus,
            place, fed, rest, records, options_array(options), point, out, exits, ended, energy, whole, found,
        )  # fmt: skip
        if lost:
            raise NotComputable("a contact needs more than the allowed number of steps")

    share(work, samples, SETTLING * stages)
    done = as_throw(out, exits, shape)
    speed, ended = point.reshape(*shape, wheels), ended.reshape(*shape, wheels)
    jammed, target = done.jammed | first.jammed, np.broadcast_to(cycle.target, speed.shape)
    ledger = motor_energies(energy.reshape(*shape, wheels, 4), whole.reshape(*shape, 3))
    droop, missing = (
        np.where(target > 0, 1 - at / np.where(target > 0, target, 1.0), 0.0) for at in (cycle.after(done), speed)
    )
    loss = 1 - done.exit_speed / np.where(first.exit_speed > 0, first.exit_speed, 1.0)
    return Settled(
        cycle=cycle, rate=rate, first=first, throw=done, loss=loss, droop=droop, missing=missing,
        energies=cycle_energies(cycle, speed, done, ended, ledger),
        converged=(found[:, CONVERGED] > 0).reshape(shape) & ~jammed, calls=int(found[:, CALLS].max(initial=0.0)),
    )  # fmt: skip


LOWEST_RATE = 1e-2
"""Lowest rate of the search [1/s]."""
GRIDS = (8, 7, 6)
"""Rates of each grid of the search, the later ones within an interval of the one before [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HighestRate:
    """Highest rate whose loss of exit speed is within a bound; every field has shape (...).

    rate [1/s]; 0 where `never`
    by_contact: throws without a pause between them are within the bound
    never: one throw in 100 s is not
    """

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
    """Return the highest rate whose settled exit speed is at most `loss` [-] below that of the first throw.

    wheel_speed, wheel_speed_b: set surface speeds [m/s], (..., stages); first: the throw from them, if known. Loss
    rises with the rate; grids between one throw in 100 s and throws without a pause, then linear interpolation in the
    logarithm of the rate. None where a stage has no drive or the launcher no supply.
    """
    first = throw(launcher, wheel_speed, wheel_speed_b) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    cycle = build_cycle(launcher, 1.0, contact, wheel_speed, wheel_speed_b)
    if cycle is None:
        return None
    low = np.full(contact.shape, np.log(LOWEST_RATE))
    high = -np.log(np.where(contact > 0, contact, 1.0)) - 1e-6
    pauseless, excess, ends = high, np.zeros((2, *contact.shape)), None
    for samples in GRIDS:
        at = np.linspace(low, high, samples)
        found = settle_cycle(cycle.at(np.exp(-at)), first, QUICK)
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

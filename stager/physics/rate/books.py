"""Energy of one cycle: what the supply gives and where it goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.physics.drive.supply import loaded_voltage
from stager.physics.drive.transient import Ledger
from stager.physics.rate.rhythm import Rhythm
from stager.physics.records import Throw

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

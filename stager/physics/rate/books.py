"""Energy of one cycle: what the supply gives and where it goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.drive.ride import Ledger
from stager.physics.drive.supply import loaded_voltage
from stager.physics.rate.rhythm import Rhythm
from stager.physics.records import Throw


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

    The throw's record has what each motor did beyond holding its wheel; its current is taken to change evenly along
    the contact, between the motor's line at either end, by as much as that work asks for.
    """
    train, holding = rhythm.train, rhythm.holding
    end = rhythm.after(done)
    own = train.columns(done.stages.contact_time, done.stages.contact_time)
    whole = np.asarray(rhythm.contact)[..., None]
    given = train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b)
    work = given + train.inertia * (end**2 - start**2) / 2
    turned = (start + end) / 2 * own + end * (whole - own)
    mean = (start + end) / 2
    extra = work / (train.pull * np.where(mean > 0, mean, 1.0))
    first, last = (np.maximum(train.pull * (holding.angular_speed - speed), 0) for speed in (start, end))
    total = np.where(first + last > 0, first + last, 1.0)
    lean = (first**2 + first * last + last**2) / total**2 * 4 / 3
    squared = np.where(own > 0, extra**2 * np.maximum(lean, 1.0) / np.where(own > 0, own, 1.0), 0.0)
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
        supply_heat=current**2 * rhythm.supply.resistance * span, charge=current * span,
    )  # fmt: skip

"""Energy balance over a minute of throwing that starts with rested wheels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.stage import PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.rate import build_rhythm
from stager.physics.rate.state import cycle_books
from tests.drive.machines import DRIVE, launcher

SPEEDS = np.array([8.0, 11.0])
RATE = 0.5


@pytest.mark.parametrize("governed", [False, True])
@pytest.mark.parametrize("layout", [PAIR, RAIL])
def test_energy_balance_closes_over_a_minute_from_the_first_throw(layout: Layout, governed: bool) -> None:
    machine = launcher(layout=layout, drive=replace(DRIVE, governed=governed, current_limit=4.0))
    contact = throw(machine, SPEEDS).stages.contact_time.max()
    rhythm = build_rhythm(machine, 1 / RATE, contact, SPEEDS)
    assert rhythm is not None
    train = rhythm.train
    speed, source, heat, work, energy = rhythm.target, 0.0, 0.0, 0.0, 0.0
    for _ in range(round(60 * RATE)):
        done = rhythm.throw(speed)
        ended, ledger = rhythm.recover_with_books(rhythm.after(done))
        books = cycle_books(rhythm, speed, done, ended, ledger)
        source += float(books.source)
        heat += float(books.supply_heat)
        heat += float((train.count * (books.copper + books.no_load + books.windage)).sum())
        work += float((train.count * books.wheel_work).sum())
        stages = done.stages
        spin = machine.projectile.spin_inertia * float(done.spin) ** 2 / 2
        moved = 0.018 * (float(done.exit_speed) ** 2 - 1.2**2) / 2 + spin
        energy += moved + float(stages.slip_heat.sum() + stages.crush_loss.sum())
        speed = ended
    stored = float((train.count * train.inertia * (speed**2 - rhythm.target**2) / 2).sum())
    # Electrical in = heat + what wheels give to throws + what they hold more at the end.
    assert source == pytest.approx(heat + work + stored, rel=1e-6)
    # What wheels give = kinetic energy, slip heat and crush loss of the throws.
    assert work == pytest.approx(energy, rel=1e-5)

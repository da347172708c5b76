"""Energy balance over a minute of throwing that starts with rested wheels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.stage import PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.rate import build_cycle, cycle_energies
from stager.physics.transient import transient
from tests.drive.machines import DRIVE, launcher

SPEEDS = np.array([8.0, 11.0])
RATE = 0.5


@pytest.mark.parametrize("governed", [False, True])
@pytest.mark.parametrize("layout", [PAIR, RAIL])
def test_energy_balance_closes_over_a_minute_from_the_first_throw(layout: Layout, governed: bool) -> None:
    machine = launcher(layout=layout, drive=replace(DRIVE, governed=governed, current_limit=4.0))
    contact = throw(machine, SPEEDS).stages.contact_time.max()
    cycle = build_cycle(machine, 1 / RATE, contact, SPEEDS)
    assert cycle is not None
    train = cycle.train
    speed, source, heat, work, energy = cycle.target, 0.0, 0.0, 0.0, 0.0
    for _ in range(round(60 * RATE)):
        done = cycle.throw(speed)
        ended, ledger = transient(train, cycle.holding, cycle.supply, cycle.after(done), cycle.rest)
        assert ledger is not None
        energies = cycle_energies(cycle, speed, done, ended, ledger)
        source += float(energies.source)
        heat += float(energies.supply_heat)
        heat += float((train.count * (energies.copper + energies.no_load + energies.windage)).sum())
        work += float((train.count * energies.wheel_work).sum())
        stages = done.stages
        spin = machine.projectile.spin_inertia * float(done.spin) ** 2 / 2
        moved = 0.018 * (float(done.exit_speed) ** 2 - 1.2**2) / 2 + spin
        energy += moved + float(stages.slip_heat.sum() + stages.crush_loss.sum())
        speed = ended
    stored = float((train.count * train.inertia * (speed**2 - cycle.target**2) / 2).sum())
    # Electrical in = heat + what wheels give to throws + what they hold more at the end.
    assert source == pytest.approx(heat + work + stored, rel=1e-6)
    # What wheels give = kinetic energy, slip heat and crush loss of the throws.
    assert work == pytest.approx(energy, rel=1e-5)

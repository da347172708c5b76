"""Energy balance of each stage: wheel work = Δ(½mv²) + Δ(½I_pΩ²) + slip heat + crush loss."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from stager.model.projectile import ROD
from stager.model.stage import IDLER, PAIR, RAIL
from stager.physics.chain import Options, throw
from stager.physics.friction import Falling
from tests.physics.drawing import ROUND, batches
from tests.physics.machines import launcher

CASES = {
    "pairs": (ROUND, (PAIR,)),
    "rails": (ROUND, (RAIL,)),
    "idlers": (ROUND, (IDLER,)),
    "rods": ((ROD,), (PAIR, RAIL, IDLER)),
}


@pytest.mark.parametrize("case", CASES)
@settings(max_examples=8, phases=[Phase.generate])
@given(data=st.data())
def test_energy_balance_of_a_drawn_stage_closes(case: str, data: st.DataObject) -> None:
    batch = data.draw(batches(*CASES[case], most_stages=1))
    machine = batch.launcher
    # Where a tabulated law bends, a step in the default accuracy leaves up to 1e-5 of the energy.
    accurate = Options(tolerance=1e-8)
    done = throw(machine, batch.speeds("a"), batch.speeds("b"), entry_spin=batch.spin, options=accurate).stages
    mass = machine.projectile.mass[:, None]
    spin_inertia = 0.0 if batch.form.shape is ROD else machine.projectile.spin_inertia[:, None]
    gained = mass * (done.exit_speed**2 - done.entry_speed**2) / 2
    gained += spin_inertia * (done.exit_spin**2 - done.entry_spin**2) / 2
    left = done.wheel_work - gained - done.slip_heat - done.crush_loss
    scale = np.maximum(abs(done.wheel_work), mass * np.maximum(done.exit_speed, done.entry_speed) ** 2 / 2)
    assert np.max(abs(left / scale), where=~done.jammed, initial=0.0) <= 1e-6


@pytest.mark.parametrize("layout", [PAIR, RAIL], ids=lambda layout: layout.name)
def test_energy_balance_closes_over_a_sweep(layout: object) -> None:
    machine = launcher(
        layout=layout, inertia=4e-5, crush=4e-3, rebound=0.8, creep=0.15, stiffness=4e4,  # type: ignore[arg-type]
        law=Falling(0.75, 0.22, 9.0),
    )  # fmt: skip
    stage = throw(machine, np.linspace(5.0, 30.0, 60)[:, None]).stages
    moving = 0.5 * machine.projectile.mass * (stage.exit_speed**2 - stage.entry_speed**2)
    spinning = 0.5 * machine.projectile.spin_inertia * (stage.exit_spin**2 - stage.entry_spin**2)
    left = stage.wheel_work - moving - spinning - stage.slip_heat - stage.crush_loss
    scale = np.maximum(np.abs(stage.wheel_work), 0.5 * machine.projectile.mass * stage.entry_speed**2)
    assert np.max(np.abs(left / scale)) <= 1e-6


def test_wheel_work_without_motors_is_the_lost_rotational_energy() -> None:
    # ½J(ω0² − ω1²) of both wheels = their work; no drive.
    machine = launcher(inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    stage = throw(machine, np.array([15.0])).stages
    lost = 4e-5 / 2 * (stage.wheel_speed_a**2 - stage.wheel_speed_after_a**2) / 0.04**2
    assert float(2 * lost[0]) == pytest.approx(float(stage.wheel_work[0]), rel=1e-6)


def test_idler_work_is_the_rotational_energy_it_gains() -> None:
    # The idler's work is negative: the projectile gives it ½Jω².
    machine = launcher(layout=IDLER, inertia=4e-4, crush=2e-3, law=Falling(0.7, 0.2, 9.0), idler_inertia=2e-5)
    stage = throw(machine, np.array([15.0])).stages
    kept = 2e-5 / 2 * float(stage.wheel_speed_after_b[0] / 0.04) ** 2
    assert kept > 0
    assert float(stage.wheel_work_b[0]) == pytest.approx(-kept, rel=1e-5)

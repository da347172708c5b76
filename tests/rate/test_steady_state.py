"""Steady state of throwing at a rate: the fixed point against hundreds of simulated throws, and its limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import IDLER, PAIR, RAIL, Layout
from stager.physics.chain import Options, throw
from stager.physics.friction import Bell, Constant, Falling
from stager.physics.rate import Cycle, Settled, highest_rate, settled
from tests.drive.machines import DRIVE, RPM, launcher

WITHOUT_ENERGY = Options(energies=False)
GOVERNED = replace(DRIVE, governed=True, current_limit=3.0)
SPEEDS = np.array([8.0, 11.0])


@cache
def steady_state(rate: float, inertia: float = 4e-5, layout: Layout = PAIR, governed: bool = False) -> Settled:
    drive = GOVERNED if governed else DRIVE
    found = settled(launcher(inertia=inertia, layout=layout, drive=drive), rate, SPEEDS)
    assert found is not None
    return found


def simulate(cycle: Cycle, throws: int = 500) -> Floats:
    """Throw repeatedly until the wheel speeds before a throw [rad/s] no longer change; return them."""
    speed = cycle.target
    for _ in range(throws):
        before, speed = speed, cycle.recover(cycle.after(cycle.throw(speed, WITHOUT_ENERGY)))
        if (np.abs(speed - before) <= 1e-12 * cycle.target).all():
            break
    return speed


def test_steady_state_matches_hundreds_of_simulated_throws() -> None:
    machine = launcher()
    machine = replace(machine, stages=(replace(machine.template, crush=3e-3),))
    found = settled(machine, np.array([2.0, 8.0, 20.0]), np.broadcast_to(SPEEDS, (3, 2)))
    assert found is not None
    speed = simulate(found.cycle)
    assert found.converged.all()
    assert found.throw.exit_speed == pytest.approx(found.cycle.throw(speed).exit_speed, rel=1e-6)
    assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-6)
    assert (found.loss > 0).all()


@pytest.mark.parametrize("layout, governed", [(RAIL, False), (PAIR, True)])
def test_steady_state_on_rails_and_with_governors_matches_simulation(layout: Layout, governed: bool) -> None:
    found = steady_state(8.0, layout=layout, governed=governed)
    speed = simulate(found.cycle)
    assert bool(found.converged)
    assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-6)
    assert found.loss > 0


@pytest.mark.parametrize("layout", [RAIL, PAIR])
def test_governed_wheels_converge_near_the_recovery_rate(layout: Layout) -> None:
    # Rates around the one at which wheels just reach their set speed before the next throw.
    rates = np.geomspace(2.0, 12.0, 12)
    found = settled(launcher(layout=layout, drive=GOVERNED), rates, np.broadcast_to(SPEEDS, (12, 2)))
    assert found is not None
    good = ~found.throw.jammed
    assert found.converged[good].all()
    assert (found.loss >= -1e-7).all()
    assert (np.diff(found.loss[good]) >= -1e-6).all()
    assert found.missing[0] == pytest.approx(0.0, abs=1e-6)
    assert found.missing[good][-1].max() > 0.01


def test_steady_state_of_a_pair_with_two_speeds() -> None:
    speeds = SPEEDS[:1]
    found = settled(launcher(), 8.0, speeds, 0.8 * speeds)
    assert found is not None
    assert found.cycle.train.size == 2
    speed = simulate(found.cycle)
    assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-6)
    assert float(found.first.spin) == pytest.approx(float(throw(launcher(), speeds, 0.8 * speeds).spin))


def test_standing_wheel_has_no_droop() -> None:
    found = settled(launcher(), 1.0, np.array([11.0]), np.array([0.0]))
    assert found is not None
    assert found.droop[1] == found.missing[1] == 0.0
    assert found.droop[0] > 0.0


@pytest.mark.parametrize("rate", [0.5, 4.0, 8.0])
@pytest.mark.parametrize("governed", [False, True])
def test_energy_balance_closes_over_a_cycle_and_a_minute(rate: float, governed: bool) -> None:
    # Electrical in = what the wheels give to the throw + heat, in every motor and in the supply.
    found = steady_state(rate, governed=governed)
    energies, count = found.energies, found.cycle.train.count
    heat = energies.supply_heat + (count * (energies.copper + energies.no_load + energies.windage)).sum(axis=-1)
    work = (count * energies.wheel_work).sum(axis=-1)
    assert work == pytest.approx(float(found.throw.stages.wheel_work.sum()), rel=1e-12)
    stored = (count * energies.stored).sum(axis=-1)
    assert float(energies.source) == pytest.approx(float(heat + work + stored), rel=1e-6)
    throws = round(60 * rate)
    assert throws * float(energies.source) == pytest.approx(throws * float(heat + work), rel=1e-6)
    assert float(energies.delivered) == pytest.approx(float(energies.source - energies.supply_heat), rel=1e-12)
    assert float(found.average_power) == pytest.approx(rate * float(energies.delivered))
    assert found.throws_per_charge == pytest.approx(2.2 * 3600 / float(energies.charge))


def test_wheel_work_equals_the_energy_of_the_throw() -> None:
    # Wheel work = Δ(½mv²) + slip heat + crush loss, without spin.
    found = steady_state(4.0)
    stages = found.throw.stages
    gained = 0.018 * (float(found.throw.exit_speed) ** 2 - 1.2**2) / 2
    spent = gained + float(stages.slip_heat.sum() + stages.crush_loss.sum())
    assert float((found.cycle.train.count * found.energies.wheel_work).sum()) == pytest.approx(spent, rel=1e-5)


def test_settled_throws_enter_with_the_spin_of_the_feed() -> None:
    machine = launcher()
    machine = replace(machine, feed=replace(machine.feed, spin=300.0))
    found = settled(machine, 0.05, SPEEDS)
    assert found is not None
    # At one throw in 20 s the wheels recover, so that a settled throw repeats the first one.
    assert found.throw.stages.entry_spin[0] == 300.0
    assert float(found.throw.exit_speed) == pytest.approx(float(found.first.exit_speed), rel=1e-6)


def test_slow_throwing_has_no_speed_loss() -> None:
    assert float(steady_state(0.05).loss) == pytest.approx(0.0, abs=1e-6)


def test_loss_and_droop_rise_with_the_rate() -> None:
    rng = np.random.default_rng(5)
    rates = np.sort(rng.uniform(0.5, 30.0, (12, 5)), axis=0)
    found = settled(launcher(), rates, SPEEDS * rng.uniform(0.8, 1.1, (5, 2)))
    assert found is not None
    assert (np.diff(found.loss, axis=0) >= -1e-7).all()
    assert (np.diff(found.missing, axis=0) >= -1e-7).all()


def test_droop_falls_with_inertia() -> None:
    # A rate low enough for the wheels to recover; heavier wheels recover more slowly.
    inertia = np.sort(np.random.default_rng(6).uniform(2e-5, 4e-4, 20))
    found = settled(launcher(inertia=inertia), 0.1, np.broadcast_to(SPEEDS, (20, 2)))
    assert found is not None
    assert (np.diff(found.droop, axis=0) < 0).all()


def test_batch_equals_single_calls() -> None:
    rates = np.array([[1.0], [6.0]])
    speeds = np.array([[1.0], [0.9], [1.05]]) * SPEEDS
    both = settled(launcher(inertia=np.array([3e-5, 4e-5, 6e-5])), rates, speeds)
    assert both is not None
    assert both.loss.shape == (2, 3)
    for i in range(2):
        for j, inertia in enumerate((3e-5, 4e-5, 6e-5)):
            one = settled(launcher(inertia=inertia), float(rates[i, 0]), speeds[j])
            assert one is not None
            assert float(both.loss[i, j]) == pytest.approx(float(one.loss), abs=1e-6)
            assert both.energies.copper[i, j] == pytest.approx(one.energies.copper, rel=1e-4)


def test_fixed_point_converges() -> None:
    speeds = SPEEDS * np.random.default_rng(1).uniform(0.8, 1.1, (200, 2))
    found = settled(launcher(), 8.0, speeds)
    assert found is not None
    assert found.converged.all()


def test_jam_in_the_steady_state_is_reported_as_full_loss() -> None:
    # Governors too weak for the rate: the first throw goes through, settled ones do not.
    weak = launcher(drive=replace(GOVERNED, current_limit=2.0))
    found = settled(weak, 15.0, SPEEDS)
    assert found is not None
    assert not found.first.jammed
    assert found.throw.jammed
    assert not found.converged
    assert found.loss == 1.0


def test_wheel_driven_by_the_projectile_settles_above_its_set_speed() -> None:
    # Controllers do not brake: only bearing drag and windage slow the second wheel down.
    found = settled(launcher(), 12.0, np.array([14.0, 3.0]))
    assert found is not None
    assert bool(found.converged)
    assert found.missing[1] < -0.1
    speed = simulate(found.cycle)
    assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-5)


@pytest.mark.parametrize("limit", [1.25, 2.0])
def test_weak_governors_jam_or_converge_as_simulated(limit: float) -> None:
    weak = launcher(drive=replace(GOVERNED, current_limit=limit), inertia=3e-4)
    found = settled(weak, 4.0, SPEEDS[:1])
    assert found is not None
    speed, jams = found.cycle.target, False
    for _ in range(500):
        before, done = speed, found.cycle.throw(speed, WITHOUT_ENERGY)
        jams |= bool(done.jammed)
        speed = found.cycle.recover(found.cycle.after(done))
        if jams or (np.abs(speed - before) <= 1e-9 * found.cycle.target).all():
            break
    assert bool(found.throw.jammed) is jams
    assert bool(found.converged) is not jams
    if not jams:
        assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-5)


def test_no_steady_state_without_drive_or_supply() -> None:
    assert settled(launcher(drive=None), 1.0, SPEEDS) is None
    assert settled(launcher(supply=None), 1.0, SPEEDS) is None
    assert highest_rate(launcher(drive=None), 0.02, SPEEDS) is None


@pytest.mark.parametrize("layout", [PAIR, IDLER, RAIL])
def test_max_rate_has_the_requested_loss(layout: Layout) -> None:
    machine = launcher(layout=layout, feed=4.0)
    if layout is IDLER:
        machine = replace(machine, template=replace(machine.template, idler_inertia=1e-6))
    found = highest_rate(machine, 0.02, SPEEDS[:1])
    assert found is not None
    there = settled(machine, float(found), SPEEDS[:1])
    assert there is not None
    assert float(there.loss) == pytest.approx(0.02, abs=2e-4) or (
        # Throws without a pause between them.
        float(found * there.first.stages.contact_time.max()) == pytest.approx(1.0, rel=1e-3) and there.loss < 0.02
    )


def test_max_rate_is_set_by_contact_time_if_any_loss_is_allowed() -> None:
    found = highest_rate(launcher(), 1.0, SPEEDS[:1])
    assert found is not None
    contact = float(throw(launcher(), SPEEDS[:1]).stages.contact_time.max())
    assert float(found) == pytest.approx(1 / contact, rel=1e-3)


def test_max_rate_is_zero_if_the_first_throw_jams() -> None:
    found = highest_rate(launcher(feed=0.1), 0.02, np.array([0.5, 0.5]))
    assert found == 0.0


def drawn(seed: int) -> tuple[Launcher, Floats, float]:
    """Return a launcher, wheel speeds [m/s] and a rate [1/s]; its wheels may slow down to a tenth of their speeds."""
    rng = np.random.default_rng(seed)
    layout, governed = (PAIR, RAIL, IDLER)[rng.integers(3)], bool(rng.integers(2))
    drive = replace(
        DRIVE, governed=governed, resistance=10 ** rng.uniform(-1.7, 0.3), current_limit=10 ** rng.uniform(0.1, 2),
        speed_constant=10 ** rng.uniform(2.7, 3.6) * RPM, no_load_current=10 ** rng.uniform(-1.5, 0.3),
    )  # fmt: skip
    machine = launcher(
        drive=drive, layout=layout, feed=10 ** rng.uniform(-0.3, 0.9), inertia=10 ** rng.uniform(-5.3, -3.3)
    )
    kind, static = rng.integers(3), rng.uniform(0.3, 1.2)
    law = (
        Falling(static, static * rng.uniform(0.1, 0.8), 10 ** rng.uniform(0, 1.3)), Constant(static),
        Bell(static, 10 ** rng.uniform(-0.5, 1), rng.uniform(0.7, 3)),
    )[kind]  # fmt: skip
    contact = replace(
        machine.contact, friction=law, rail_friction=law, stiffness=10 ** rng.uniform(3.5, 5),
        rebound=rng.uniform(0.4, 1),
    )  # fmt: skip
    stage = replace(machine.template, crush=rng.uniform(1e-3, 6e-3), idler_inertia=1e-5 if layout is IDLER else 0.0)
    stages = rng.integers(1, 4)
    speeds = np.sort(rng.uniform(2, 40, stages)) if rng.integers(2) else rng.uniform(2, 40, stages)
    return replace(machine, contact=contact, template=stage), speeds, 10 ** rng.uniform(-0.5, 1.7)


@pytest.mark.parametrize("seed", [222, 339, 434, 454, 545, 733, 1123, *range(1000, 1020)])
def test_settled_state_is_the_one_that_throw_after_throw_reaches(seed: int) -> None:
    # The first seven have another fixed point too, with wheels that stand almost still, where the projectile jams.
    machine, speeds, rate = drawn(seed)
    found = settled(machine, rate, speeds)
    assert found is not None
    speed, jams = found.cycle.target, bool(found.first.jammed)
    while not jams:
        done = found.cycle.throw(speed, WITHOUT_ENERGY)
        before, speed, jams = speed, found.cycle.recover(found.cycle.after(done)), bool(done.jammed)
        if (np.abs(speed - before) <= 1e-9 * found.cycle.target).all():
            break
    assert bool(found.throw.jammed or found.first.jammed) is jams
    assert bool(found.converged) is not jams
    if not jams:
        assert found.missing == pytest.approx(1 - speed / found.cycle.target, abs=1e-5)

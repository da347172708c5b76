"""Wheel speeds over time against a reference integration, and the energy balance of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from stager.model.arrays import Floats
from stager.model.stage import Supply
from stager.physics.motor import Drivetrain, Holding, build_drivetrain, hold, peak_draw, steady_speeds
from stager.physics.rate import sequence, settled
from stager.physics.transient import (
    NEAR,
    MotorEnergies,
    peak_in_turn,
    single_wheel,
    spin_up,
    spin_up_in_turn,
    spin_up_throttle,
    time_to,
    transient,
)
from tests.drive.machines import DRIVE, SPEEDS, SUPPLY, launcher, on_the_bus

TARGET = SPEEDS / 0.04
GOVERNED = replace(DRIVE, governed=True)


def train(governed: bool = False) -> Drivetrain:
    found = build_drivetrain(launcher(drive=GOVERNED if governed else DRIVE), 3)
    assert found is not None
    return found


def reference(wheels: Drivetrain, there: Holding, start: Floats, time: float) -> Floats:
    """Integrate wheels at fixed throttle with a stiff solver; find the bus voltage by fixed-point iteration."""

    def rates(_: float, speed: Floats) -> Floats:
        bus = SUPPLY.voltage
        for _ in range(200):
            current = np.clip((there.throttle * bus - wheels.pull * speed) / wheels.resistance, 0, wheels.current_limit)
            power = (wheels.count * current * (wheels.pull * speed + wheels.resistance * current)).sum()
            bus = SUPPLY.voltage - SUPPLY.resistance * power / bus
        torque = wheels.pull * (current - wheels.idle_current) - wheels.disc.moment(np.maximum(speed, 0))
        return torque / wheels.inertia

    return solve_ivp(rates, (0, time), start, method="LSODA", rtol=1e-10, atol=1e-9).y[:, -1]


@pytest.mark.parametrize("share, time", [(0.9, 0.05), (0.9, 0.4), (0.0, 0.15), (1.05, 0.1)])
def test_fixed_throttle_speeds_agree_with_reference_integration(share: float, time: float) -> None:
    wheels = train()
    there = hold(wheels, TARGET, SUPPLY)
    found, _ = transient(wheels, there, SUPPLY, share * TARGET, time)
    assert found == pytest.approx(reference(wheels, there, share * TARGET, time), rel=1e-7)


@pytest.mark.parametrize("governed", [False, True])
def test_wheel_set_to_stand_still_coasts_down_and_stops(governed: bool) -> None:
    # A side that is to brake, as for spin, is turned by the projectile all the same.
    wheels, target = train(governed), np.append(0.0, TARGET[1:])
    there, start = hold(wheels, target, SUPPLY), np.append(25.0, TARGET[1:])
    if not governed:
        found, _ = transient(wheels, there, SUPPLY, start, 0.05)
        assert found == pytest.approx(reference(wheels, there, start, 0.05), rel=1e-6)
        assert 0.0 < found[0] < start[0]
    stopped, _ = transient(wheels, there, SUPPLY, start, 60.0)
    assert stopped == pytest.approx(target, abs=1e-5)


def test_throws_in_turn_with_a_wheel_that_stands_still_are_computed() -> None:
    # A pair whose side B brakes.
    given = launcher(drive=DRIVE, rate=4.0)
    side_b = np.array([0.0, 0.6, 0.8]) * SPEEDS
    state = settled(given, 4.0, SPEEDS, side_b)
    assert state is not None
    turns = sequence(state.cycle, 3)
    assert np.isfinite(turns.exit_speed).all()
    assert np.isfinite(turns.missing).all()
    assert (turns.missing[0] == 0).all()


@pytest.mark.parametrize("governed", [False, True])
@pytest.mark.parametrize("share", [0.0, 0.8, 1.02])
@pytest.mark.parametrize("time", [0.02, 1.0, 60.0])
def test_energy_balance_closes(governed: bool, share: float, time: float) -> None:
    # Supply energy = heat in the supply and the motors + bearing and air loss + energy stored in the wheels.
    wheels = train(governed)
    there = hold(wheels, TARGET, SUPPLY)
    start = share * TARGET
    end, energies = transient(wheels, there, SUPPLY, start, time)
    assert isinstance(energies, MotorEnergies)
    stored = wheels.inertia * (end**2 - start**2) / 2
    used = energies.copper + energies.no_load + energies.windage + stored
    spent = energies.supply_heat + (wheels.count * used).sum()
    taken = SUPPLY.voltage * energies.charge
    turnover = taken + (wheels.count * wheels.inertia * start**2 / 2).sum()
    assert abs(taken - spent) < 1e-6 * turnover


def test_governed_wheel_reaches_and_holds_its_set_speed() -> None:
    wheels = train(governed=True)
    there = hold(wheels, TARGET, SUPPLY)
    end, _ = transient(wheels, there, SUPPLY, 0.7 * TARGET, np.array([0.5, 5.0, 50.0]))
    assert end == pytest.approx(np.broadcast_to(TARGET, (3, 3)), rel=1e-12)


@pytest.mark.parametrize("governed", [False, True])
def test_wheels_that_cannot_be_held_end_at_the_speeds_of_full_throttle(governed: bool) -> None:
    wheels = train(governed)
    there = hold(wheels, 20.0 * TARGET, SUPPLY)
    assert (there.throttle > 1.0).all()
    end, _ = transient(wheels, there, SUPPLY, TARGET, 100.0)
    assert end == pytest.approx(steady_speeds(wheels, np.ones(3), SUPPLY), rel=1e-6)


def test_governor_above_set_speed_draws_no_charge() -> None:
    # Above its set speed the motor takes no current; bearing loss and windage slow the wheel.
    wheels = train(governed=True)
    there = hold(wheels, TARGET, SUPPLY)
    end, energies = transient(wheels, there, SUPPLY, 1.5 * TARGET, 0.01)
    assert (end < 1.5 * TARGET).all()
    assert (end > TARGET).all()
    assert energies is not None
    assert energies.charge == pytest.approx(0.0)


def test_governed_wheel_recovers_faster() -> None:
    start = 0.9 * TARGET
    times = [
        float(time_to(train(governed), hold(train(governed), TARGET, SUPPLY), SUPPLY, start))
        for governed in (False, True)
    ]
    assert times[1] < times[0] / 5


def test_batch_equals_single_calls() -> None:
    wheels = train()
    there = hold(wheels, TARGET, SUPPLY)
    starts = np.array([[0.5], [0.9], [1.0]]) * TARGET
    times = np.array([0.01, 0.1, 1.0])
    both, _ = transient(wheels, there, SUPPLY, starts, times)
    for row in range(3):
        one, _ = transient(wheels, there, SUPPLY, starts[row], times[row])
        assert both[row] == pytest.approx(one, rel=1e-8)


def test_spin_up_time_of_an_ideal_motor() -> None:
    # An ideal motor's wheel comes up as 1 − exp(−t/τ) with τ = RJ/Kt²: 2 % is left after τ·ln 50; any textbook.
    ideal = build_drivetrain(launcher(drive=replace(DRIVE, no_load_current=0.0, current_limit=np.inf), radius=0.01), 1)
    assert ideal is not None
    supply = replace(SUPPLY, resistance=0.0)
    there = hold(ideal, np.array([500.0]), supply)
    lag = float(ideal.resistance[0] * ideal.inertia[0] / ideal.pull[0] ** 2)
    assert spin_up(ideal, there, supply).time == pytest.approx(lag * np.log(1 / NEAR), rel=1e-2)


def test_spin_up_time_of_an_unreachable_speed_is_infinite() -> None:
    wheels = train(governed=True)
    there = hold(wheels, 20 * TARGET, SUPPLY)
    assert np.isinf(spin_up(wheels, there, SUPPLY).time)


@pytest.mark.parametrize("governed", [False, True])
def test_spin_up_in_turn_is_slower_and_draws_less(governed: bool) -> None:
    wheels = train(governed)
    there = hold(wheels, TARGET, SUPPLY)
    together, in_turn = spin_up(wheels, there, SUPPLY), spin_up_in_turn(wheels, there, SUPPLY)
    assert in_turn.time > together.time
    assert in_turn.current < together.current
    assert in_turn.power < together.power
    assert peak_in_turn(wheels, there, SUPPLY)[0] == pytest.approx(in_turn.current)


def test_peak_draw_of_equal_wheels_is_at_standstill() -> None:
    # Without a current limit the current is largest at standstill: throttle·V/R per motor, on the shared bus.
    free = build_drivetrain(launcher(drive=replace(DRIVE, current_limit=np.inf)), 3)
    assert free is not None
    there = hold(free, np.full(3, 300.0), SUPPLY)
    _, drawn, volts = on_the_bus(free, np.minimum(there.throttle, 1.0), np.zeros(3))
    current, power = peak_draw(free, spin_up_throttle(free, there), SUPPLY)
    assert power == pytest.approx(float((free.count * drawn).sum()))
    assert current == pytest.approx(power / volts)


def _drawn(train: Drivetrain, throttle: float, speed: float, supply: Supply, held: float) -> tuple[float, float]:
    """Return current [A] and power [W] of a supply with equal wheels at `speed` [rad/s] and held ones of power `held`.

    Bisection for the greatest bus voltage at which the supply gives what is drawn, from the circuit's equations alone.
    """
    pull, ohms, most = float(train.pull[0]), float(train.resistance[0]), float(train.current_limit[0])

    def excess(volts: float) -> float:
        current = min(max((throttle * volts - pull * speed) / ohms, 0.0), most)
        taken = float(train.count.sum()) * current * (pull * speed + ohms * current)
        return volts - float(supply.voltage) + float(supply.resistance) * (taken + held) / volts

    volts = np.linspace(float(supply.voltage), 0.5, 2000)
    over = np.array([excess(one) for one in volts]) >= 0
    low, high = volts[np.argmin(over)], volts[np.argmin(over) - 1]
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if excess(middle) >= 0 else (middle, high)
    current = (float(supply.voltage) - high) / float(supply.resistance)
    return current, current * high


@pytest.mark.parametrize(
    ("ohms", "limit", "speed"), [(0.06, np.inf, 1500.0), (0.1, 30.0, 2000.0), (0.03, 30.0, 1000.0)]
)
def test_no_wheels_that_spin_up_draw_more_than_the_peaks(ohms: float, limit: float, speed: float) -> None:
    # A supply gives most power, V²/(4R), at half its voltage: a start that pulls it lower passes that on the way up.
    supply = replace(SUPPLY, resistance=ohms)
    wheels = build_drivetrain(launcher(drive=replace(DRIVE, resistance=0.03, current_limit=limit), radius=0.03), 3)
    assert wheels is not None
    there = hold(wheels, np.full(3, speed), supply)
    throttle, speeds = float(spin_up_throttle(wheels, there)[0]), np.linspace(0.0, speed, 80)
    seen = np.max([_drawn(wheels, throttle, one, supply, 0.0) for one in speeds], axis=0)
    assert (seen <= np.array(peak_draw(wheels, spin_up_throttle(wheels, there), supply)) * (1 + 1e-6)).all()
    # Wheels that are held take more current as another one pulls the voltage down.
    held = float((wheels.count * there.current * there.voltage)[1:].sum())
    seen = np.max([_drawn(single_wheel(wheels, 0), throttle, one, supply, held) for one in speeds], axis=0)
    assert (seen <= np.array(peak_in_turn(wheels, there, supply)) * (1 + 1e-6)).all()


@pytest.mark.parametrize("governed", [False, True])
def test_backward_wheel_recovers_like_one_at_rest(governed: bool) -> None:
    wheels = train(governed)
    there = hold(wheels, TARGET, SUPPLY)
    backward, _ = transient(wheels, there, SUPPLY, np.array([-7.0, 100.0, 0.0]), 0.1)
    still, _ = transient(wheels, there, SUPPLY, np.array([0.0, 100.0, 0.0]), 0.1)
    assert backward == pytest.approx(still)


def test_nan_speeds_are_refused() -> None:
    wheels = train()
    with pytest.raises(ValueError, match="known speeds"):
        transient(wheels, hold(wheels, TARGET, SUPPLY), SUPPLY, np.array([np.nan, 1.0, 1.0]), 0.1)


def test_overloaded_supply_transient_stays_finite() -> None:
    # Set speeds far beyond the supply: controllers ask for more than it delivers throughout.
    weak = replace(SUPPLY, voltage=2.5, resistance=0.25)
    strong = launcher(drive=replace(DRIVE, resistance=0.03, current_limit=60.0), inertia=2e-3)
    wheels = build_drivetrain(strong, 3)
    assert wheels is not None
    there = hold(wheels, np.array([280.0, 1220.0, 1190.0]), weak)
    assert not there.reached
    ended, _ = transient(wheels, there, weak, np.array([279.0, 0.0, 0.0]), 20.0)
    assert np.isfinite(ended).all()
    assert (ended < there.angular_speed).all()

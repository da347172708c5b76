"""Winding temperatures of motors that throw at a rate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.stage import Heat
from stager.physics.air import SEA_LEVEL, SEA_LEVEL_TEMPERATURE
from stager.physics.heat import Windings, case_to_air, fin_conductance, holding_loss, steady, throwing_loss, windings
from stager.physics.motor import build_drivetrain, hold
from stager.physics.rate import settled
from stager.physics.wheel import WHEEL_MATERIALS
from tests.drive.machines import ALUMINIUM, DRIVE, HEAT, SUPPLY, launcher, wheel

SPEEDS = np.array([8.0, 11.0])
WARM = replace(DRIVE, heat=HEAT)


def windings_at(rate: float | None) -> Windings:
    machine = launcher(drive=WARM)
    train = build_drivetrain(machine, 2)
    assert train is not None
    found = windings(
        machine, train, hold(train, SPEEDS / 0.04, SUPPLY), None if rate is None else settled(machine, rate, SPEEDS)
    )
    assert found is not None
    return found


def test_temperature_rises_with_the_throwing_rate() -> None:
    still, slow, fast = (windings_at(rate).temperature() for rate in (None, 1.0, 4.0))
    assert (still < slow).all()
    assert (slow < fast).all()
    assert (still > SEA_LEVEL_TEMPERATURE).all()


def test_mean_losses_match_the_energy_of_a_cycle() -> None:
    machine = launcher(drive=WARM)
    found = settled(machine, 4.0, SPEEDS)
    assert found is not None
    loss = throwing_loss(found)
    assert loss.copper == pytest.approx(4.0 * found.energies.copper)
    assert windings_at(4.0).temperature() == pytest.approx(steady(windings_at(4.0).network, loss)[0])


def test_loss_of_a_motor_that_holds_is_its_input_less_what_the_wheel_takes() -> None:
    # Energy: VI − Tω with V = RI + ω/Kv and T = (I − I₀)/Kv at the motor, which is RI² + I₀·ω/Kv.
    train = build_drivetrain(launcher(drive=replace(WARM, gear=2.0)), 2)
    assert train is not None
    held = hold(train, SPEEDS / 0.04, SUPPLY)
    motor_speed = 2.0 * SPEEDS / 0.04
    voltage = DRIVE.resistance * held.current + motor_speed / DRIVE.speed_constant
    torque = (held.current - DRIVE.no_load_current) / DRIVE.speed_constant
    loss = holding_loss(train, held)
    assert loss.copper + loss.idle == pytest.approx(voltage * held.current - torque * motor_speed, rel=1e-9)


def test_motor_ambient_temperature_is_that_of_the_air() -> None:
    assert windings_at(4.0).network.air == SEA_LEVEL.temperature


def test_temperature_rises_from_ambient_to_steady_state() -> None:
    warm = windings_at(4.0)
    assert (warm.temperature(60.0) < warm.temperature()).all()
    assert warm.temperature(1e6) == pytest.approx(warm.temperature())
    assert warm.temperature(0.0) == pytest.approx(np.full(2, SEA_LEVEL_TEMPERATURE))


def test_no_temperatures_without_thermal_data() -> None:
    machine = launcher()
    train = build_drivetrain(machine, 2)
    assert train is not None
    assert windings(machine, train, hold(train, SPEEDS / 0.04, SUPPLY), None) is None


def _winding_temperature_in_petg(case_to_air: float | None) -> float:
    """Return the hottest winding [degC] of a small motor in a PETG wheel, in steady throwing at 4 per second."""
    petg = replace(wheel(), material=WHEEL_MATERIALS["printed PETG"])
    heat = Heat(winding_capacity=7.0, winding_to_case=2.2, case_capacity=20.0, case_to_air=case_to_air)
    machine = replace(launcher(drive=replace(DRIVE, heat=heat)), template=replace(launcher().template, wheel=petg))
    machine = replace(machine, template=replace(machine.template, drive=replace(DRIVE, heat=heat)))
    train = build_drivetrain(machine, 2)
    assert train is not None
    found = windings(machine, train, hold(train, SPEEDS / 0.04, SUPPLY), settled(machine, 4.0, SPEEDS))
    assert found is not None
    return float(found.temperature().max()) - 273.15


def test_plastic_wheel_is_a_poor_heat_sink() -> None:
    # An isothermal wheel would give off 2πR²h, about 0.6 W/K; PETG gives off less than a tenth of that.
    assert _winding_temperature_in_petg(None) - 20.0 > 5 * (_winding_temperature_in_petg(1.6) - 20.0)


def test_wheel_speed_and_fins_lower_thermal_resistance() -> None:
    bare = replace(HEAT, case_to_air=None)
    turning = wheel(material=replace(ALUMINIUM, conductivity=160.0))
    slow, fast = case_to_air(bare, turning, np.array([10.0, 500.0]))
    assert fast < slow < case_to_air(bare, wheel(), 10.0)
    finned = Heat(
        winding_capacity=12.0, winding_to_case=1.5, case_capacity=30.0, fin_count=5, fin_diameter=0.06,
        fin_thickness=1e-3, fin_conductivity=180.0,
    )  # fmt: skip
    assert case_to_air(finned, turning, 500.0) < fast
    assert 1 / case_to_air(finned, turning, 500.0) == pytest.approx(1 / fast + fin_conductance(finned, turning, 500.0))
    assert case_to_air(HEAT, wheel(), 500.0) == 4.0

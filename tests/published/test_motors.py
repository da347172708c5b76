"""Motors against textbook examples: the kernel's motor in air too thin to brake it, on a supply without resistance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import stager.physics.transient as columns
from stager.model.arrays import Floats
from stager.model.stage import Drive, Supply
from stager.physics.air import SEA_LEVEL
from stager.physics.motor import Drivetrain, build_drivetrain, greatest_power, hold, steady_speeds
from stager.physics.transient import pack_wheels, rates, workspace
from tests.drive.machines import RPM, launcher
from tests.published.inventory import printed as compare

THIN = replace(SEA_LEVEL, density=1e-12)


def _train(drive: Drive) -> Drivetrain:
    """Return the wheels of one stage with this drive."""
    train = build_drivetrain(launcher(drive=drive), 1, air=THIN)
    assert train is not None
    return train


def _motor(drive: Drive, voltage: float, speed: float) -> tuple[float, float, Floats]:
    """Return torque at the shaft [N m], current [A], and the powers at `voltage` [V] and `speed` [rad/s] [W].

    The powers are what the motor takes, copper loss and no-load loss.
    """
    wheels, totals = workspace(1)
    wheels[:, : columns.WHEEL] = pack_wheels(_train(drive), ())[0]
    wheels[0, columns.COMMAND], wheels[0, columns.TRIAL] = 1.0, speed
    totals[columns.BUS], totals[columns.ENERGIES] = voltage, 1.0
    rates(wheels, np.array([voltage, 0.0]), totals, 0.0)
    torque = float(wheels[0, columns.SLOPES] * wheels[0, columns.INERTIA])
    return torque, float(wheels[0, columns.CURRENT]), wheels[0, [columns.POWER, columns.LOSSES, columns.LOSSES + 1]]


def _steady(drive: Drive, voltage: float) -> float:
    """Return the speed at which the motor settles at `voltage` [V] [rad/s]."""
    return float(steady_speeds(_train(drive), np.ones(1), Supply(voltage=voltage, resistance=0.0))[0])


def test_torque_constant_is_the_inverse_of_the_speed_constant() -> None:
    # Kt·Kv = 60/(2π) with Kv in rpm/V, exact: 1000 rpm/V is 0.0095493 N m/A.
    drive = Drive(speed_constant=1000 * RPM, resistance=0.1)
    assert drive.torque_constant == pytest.approx(0.0095493, rel=1e-5)
    assert drive.torque_constant * 1000 == pytest.approx(9.5492966, rel=1e-7)


def test_armature_current_of_kosow_1_13() -> None:
    # Kosow, Electric Machinery & Transformers, example 1-13: 125 V, 0.25 ohm, 60 A: back-emf 110 V.
    drive = Drive(speed_constant=1.0, resistance=0.25)
    torque, current, _ = _motor(drive, 125.0, 110.0)
    compare("armature current (A)", "Kosow, Electric Machinery, example 1-13", 60.0, current, rel=1e-6)
    assert torque * 110.0 / current == pytest.approx(110.0)


def test_losses_of_a_permanent_magnet_motor() -> None:
    # 0.5 ohm, 120 V, 40 A, 20 rev/s: copper loss 800 W, input 4800 W; 31.831 N m by arithmetic.
    turning = 20 * 2 * np.pi
    torque, current, powers = _motor(Drive(speed_constant=turning / 100.0, resistance=0.5), 120.0, turning)
    assert current == pytest.approx(40.0)
    source = "homeworksource.com, 1085257"
    compare("copper loss (W)", source, 800.0, powers[1], rel=1e-6)
    compare("input of a motor (W)", source, 4800.0, powers[0], rel=1e-6)
    assert torque == pytest.approx(31.831, rel=1e-4)


def test_motor_of_fitzgerald_chapter_7() -> None:
    # Fitzgerald, Kingsley & Umans, 6th ed., ch. 7 (statement from memory): 50 V, no-load 2100 rpm at 1.25 A, 1.03 ohm;
    # constant 0.22 (book), loss 61 W (book); at 48 V and 1700 rpm 267.1 W at the shaft, the no-load loss kept.
    emf = 50 - 1.25 * 1.03
    drive = Drive(speed_constant=2100 * RPM / emf, resistance=1.03, no_load_current=1.25)
    assert _steady(drive, 50.0) == pytest.approx(2100 * RPM)
    source = "Fitzgerald, Kingsley & Umans, 6th ed., ch. 7"
    compare("torque constant (N m/A)", source, 0.22, drive.torque_constant, rel=1e-2, read=False)
    _, idle, powers = _motor(drive, 50.0, 2100 * RPM)
    assert idle == pytest.approx(1.25)
    compare("no-load loss (W)", source, 61.0, powers[2], rel=1e-2, read=False)
    torque, current, powers = _motor(drive, 48.0, 1700 * RPM)
    assert current == pytest.approx(8.3166, rel=1e-4)
    assert powers[0] - powers[1] == pytest.approx(327.96, rel=1e-4)
    assert torque * 1700 * RPM == pytest.approx(275, rel=4e-2)


def test_torque_speed_line_of_a_small_motor() -> None:
    # 12 V, 3800 rpm no-load, stall 30 mN m; at 2500 rpm 10.263 mN m on the ideal line (arithmetic).
    constant = 12 / (3800 * RPM)
    drive = Drive(speed_constant=1 / constant, resistance=12 * constant / 30e-3)
    assert drive.resistance == pytest.approx(12.062, rel=1e-4)
    assert _motor(drive, 12.0, 0.0)[0] == pytest.approx(30e-3)
    assert _motor(drive, 12.0, 2500 * RPM)[0] == pytest.approx(10.263e-3, rel=1e-4)


def test_speed_of_a_loaded_motor() -> None:
    # Text on drives, example 4.5: 120 V for 6000 rpm, at 60 V with 2.5 ohm and 0.5 N m: 2.618 A, 53.455 V, 2672.8 rpm.
    # The load is one more no-load loss, which does not depend on speed either.
    ideal = Drive(speed_constant=6000 * RPM / 120, resistance=2.5)
    loaded = replace(ideal, no_load_current=0.5 / ideal.torque_constant)
    speed = _steady(loaded, 60.0)
    source = "FOSSEE/Scilab-TBC-Uploads, 1892, example 4.5"
    compare("speed of a loaded motor (rpm)", source, 2672.8, speed / RPM, rel=1e-3)
    torque, current, _ = _motor(ideal, 60.0, speed)
    compare("current of a loaded motor (A)", source, 2.618, current, rel=1e-3)
    assert torque == pytest.approx(0.5)
    # What holds it there is the same voltage.
    held = hold(_train(loaded), np.array([speed]), Supply(voltage=60.0, resistance=0.0))
    assert held.voltage == pytest.approx(60.0)
    assert held.throttle == pytest.approx(1.0)


def test_greatest_power_is_at_half_speed() -> None:
    # V²/(4R) at half the no-load speed, half of what goes in; any textbook. 10 V, 1.5 ohm: 16.667 W.
    drive = Drive(speed_constant=80.0, resistance=1.5)
    assert _steady(drive, 10.0) == pytest.approx(800.0)
    torque, current, _ = _motor(drive, 10.0, 400.0)
    assert torque * 400 == pytest.approx(greatest_power(drive, 10.0))
    assert 10.0 * current == pytest.approx(2 * greatest_power(drive, 10.0))
    for speed in (360.0, 440.0):
        assert _motor(drive, 10.0, speed)[0] * speed < greatest_power(drive, 10.0)


def test_current_is_between_zero_and_the_limit() -> None:
    drive = Drive(speed_constant=80.0, resistance=1.5, current_limit=3.0)
    assert [_motor(drive, 10.0, speed)[1] for speed in (0.0, 1e4)] == [3.0, 0.0]

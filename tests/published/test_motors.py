"""Motors against textbook examples."""

from __future__ import annotations

import numpy as np
import pytest

from stager.model.stage import Drive
from stager.physics.motor import back_emf, greatest_power, motor_current, motor_torque, no_load_speed
from tests.published.inventory import printed as compare

RPM = 2 * np.pi / 60


def test_torque_constant_is_the_inverse_of_the_speed_constant() -> None:
    # Kt·Kv = 60/(2π) with Kv in rpm/V, exact: 1000 rpm/V is 0.0095493 N m/A.
    drive = Drive(speed_constant=1000 * RPM, resistance=0.1)
    assert drive.torque_constant == pytest.approx(0.0095493, rel=1e-5)
    assert drive.torque_constant * 1000 == pytest.approx(9.5492966, rel=1e-7)


def test_armature_current_of_kosow_1_13() -> None:
    # Kosow, Electric Machinery & Transformers, example 1-13: 125 V, 0.25 ohm, 60 A: back-emf 110 V.
    drive = Drive(speed_constant=1.0, resistance=0.25)
    source = "Kosow, Electric Machinery, example 1-13"
    compare("armature current (A)", source, 60.0, motor_current(drive, 125.0, 110.0), rel=1e-6)
    assert back_emf(drive, 110.0) == pytest.approx(110.0)


def test_losses_of_a_permanent_magnet_motor() -> None:
    # 0.5 ohm, 120 V, 40 A, 20 rev/s: copper loss 800 W, input 4800 W; 31.831 N m by arithmetic.
    turning = 20 * 2 * np.pi
    drive = Drive(speed_constant=turning / 100.0, resistance=0.5)
    current = float(motor_current(drive, 120.0, turning))
    assert current == pytest.approx(40.0)
    source = "homeworksource.com, 1085257"
    compare("copper loss (W)", source, 800.0, current**2 * 0.5, rel=1e-6)
    compare("input of a motor (W)", source, 4800.0, 120.0 * current, rel=1e-6)
    assert motor_torque(drive, current) == pytest.approx(31.831, rel=1e-4)


def test_motor_of_fitzgerald_chapter_7() -> None:
    # Fitzgerald, Kingsley & Umans, 6th ed., ch. 7 (statement from memory): 50 V, no-load 2100 rpm at 1.25 A, 1.03 ohm;
    # constant 0.22 (book), loss 61 W (book); at 48 V and 1700 rpm 267.1 W at the shaft, the no-load loss kept.
    emf = 50 - 1.25 * 1.03
    drive = Drive(speed_constant=2100 * RPM / emf, resistance=1.03, no_load_current=1.25)
    assert no_load_speed(drive, 50.0) == pytest.approx(2100 * RPM)
    source = "Fitzgerald, Kingsley & Umans, 6th ed., ch. 7"
    compare("torque constant (N m/A)", source, 0.22, drive.torque_constant, rel=1e-2, read=False)
    compare("no-load loss (W)", source, 61.0, emf * 1.25, rel=1e-2, read=False)
    current = float(motor_current(drive, 48.0, 1700 * RPM))
    assert current == pytest.approx(8.3166, rel=1e-4)
    assert drive.torque_constant * current * 1700 * RPM == pytest.approx(327.96, rel=1e-4)
    assert motor_torque(drive, current) * 1700 * RPM == pytest.approx(275, rel=4e-2)


def test_torque_speed_line_of_a_small_motor() -> None:
    # 12 V, 3800 rpm no-load, stall 30 mN m; at 2500 rpm 10.263 mN m on the ideal line (arithmetic).
    constant = 12 / (3800 * RPM)
    drive = Drive(speed_constant=1 / constant, resistance=12 * constant / 30e-3)
    assert drive.resistance == pytest.approx(12.062, rel=1e-4)
    assert motor_torque(drive, float(motor_current(drive, 12.0, 0.0))) == pytest.approx(30e-3)
    assert motor_torque(drive, float(motor_current(drive, 12.0, 2500 * RPM))) == pytest.approx(10.263e-3, rel=1e-4)


def test_speed_of_a_loaded_motor() -> None:
    # Text on drives, example 4.5: 120 V for 6000 rpm, at 60 V with 2.5 ohm and 0.5 N m: 2.618 A, 53.455 V, 2672.8 rpm.
    drive = Drive(speed_constant=6000 * RPM / 120, resistance=2.5)
    current = 0.5 / drive.torque_constant
    source = "FOSSEE/Scilab-TBC-Uploads, 1892, example 4.5"
    compare("current of a loaded motor (A)", source, 2.618, current, rel=1e-3)
    speed = (60 - 2.5 * current) * drive.speed_constant
    assert motor_current(drive, 60.0, speed) == pytest.approx(current)
    compare("speed of a loaded motor (rpm)", source, 2672.8, speed / RPM, rel=1e-3)


def test_greatest_power_is_at_half_speed() -> None:
    # V²/(4R) at half the no-load speed, half of what goes in; any textbook. 10 V, 1.5 ohm: 16.667 W.
    drive = Drive(speed_constant=80.0, resistance=1.5)
    half = no_load_speed(drive, 10.0) / 2
    current = motor_current(drive, 10.0, half)
    assert motor_torque(drive, current) * half == pytest.approx(greatest_power(drive, 10.0))
    assert 10.0 * current == pytest.approx(2 * greatest_power(drive, 10.0))
    others = motor_torque(drive, motor_current(drive, 10.0, half * np.array([0.9, 1.1])))
    assert (others * half * np.array([0.9, 1.1]) < greatest_power(drive, 10.0)).all()


def test_current_is_between_zero_and_the_limit() -> None:
    drive = Drive(speed_constant=80.0, resistance=1.5, current_limit=3.0)
    assert motor_current(drive, 10.0, np.array([0.0, 1e4])).tolist() == [3.0, 0.0]

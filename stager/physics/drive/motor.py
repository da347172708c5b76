"""A motor as its DC equivalent: back-emf, current, torque, speed.

speed_constant Kv [rad/s/V], torque constant Kt = 1/Kv [N m/A]. Motor speeds are before the gear. Shapes broadcast.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Drive

COPPER_COEFFICIENT = 3.93e-3
"""Of resistance by temperature [1/K], from 20 degC; IEC 60028."""
REFERENCE = 293.15


def back_emf(drive: Drive, motor_speed: Number) -> Number:
    """ω/Kv [V] at `motor_speed` [rad/s]."""
    return motor_speed / drive.speed_constant


def motor_current(drive: Drive, voltage: Number, motor_speed: Number) -> Floats:
    """(V − ω/Kv)/R [A] at motor `voltage` [V], from 0 (it does not brake) to the controller's limit."""
    asked = (voltage - back_emf(drive, motor_speed)) / drive.resistance
    return np.asarray(np.clip(asked, 0.0, drive.current_limit))


def motor_torque(drive: Drive, current: Number) -> Number:
    """Kt·(I − I₀) [N m] at the shaft, for `current` [A]; the no-load current stands for bearings and iron."""
    return drive.torque_constant * (current - drive.no_load_current)


def no_load_speed(drive: Drive, voltage: Number) -> Floats:
    """Kv·(V − I₀R) [rad/s] at motor `voltage` [V]; 0 where that does not overcome the no-load loss."""
    return np.maximum(voltage - drive.no_load_current * drive.resistance, 0.0) * drive.speed_constant


def greatest_power(drive: Drive, voltage: Number) -> Number:
    """V²/(4R) [W]: mechanical power at half speed of an ideal motor at `voltage` [V], half of what goes in."""
    return voltage**2 / (4 * drive.resistance)


def warm_factor(temperature: Number) -> Number:
    """Resistance of copper by that at 20 degC [-], at `temperature` [K]; IEC 60028, constant mass."""
    return 1 + COPPER_COEFFICIENT * (temperature - REFERENCE)

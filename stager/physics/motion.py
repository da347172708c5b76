"""Energy of a moving projectile, turning of a wheel."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Number
from stager.model.projectile import Projectile
from stager.model.wheel import Wheel


def translation_energy(speed: Number, projectile: Projectile) -> Number:
    """½mv² [J] at `speed` [m/s]; shapes broadcast."""
    return projectile.mass * speed**2 / 2


def spin_energy(spin: Number, projectile: Projectile) -> Number:
    """½I_pΩ² [J] at `spin` [rad/s]; shapes broadcast."""
    return projectile.spin_inertia * spin**2 / 2


def turns_per_minute(wheel_speed: Number, wheel: Wheel) -> Number:
    """Rotation [rpm] at `wheel_speed` [m/s]: u/(2πR)·60 with the radius at rest; shapes broadcast."""
    return wheel_speed / wheel.radius * 60 / (2 * np.pi)

"""Energies of the projectile, and greatest normal and friction force of a nip."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.projectile import Projectile
from stager.model.stage import Wheel
from stager.physics.wheel import nip_growth, nip_speed, stiffened


def translation_energy(speed: Number, projectile: Projectile) -> Number:
    """Return ½mv² [J] at `speed` [m/s]; shapes broadcast."""
    return projectile.mass * speed**2 / 2


def spin_energy(spin: Number, projectile: Projectile) -> Number:
    """Return ½I_pΩ² [J] at `spin` [rad/s]; shapes broadcast."""
    return projectile.spin_inertia * spin**2 / 2


def turns_per_minute(wheel_speed: Number, wheel: Wheel) -> Number:
    """Return the rotation [rpm] at `wheel_speed` [m/s]: u/(2πR)·60 with the radius at rest; shapes broadcast."""
    return wheel_speed / wheel.radius * 60 / (2 * np.pi)


def peak_normal(launcher: Launcher, index: int, wheel_speed: Number, wheel_speed_b: Number | None = None) -> Floats:
    """Return the greatest normal force of one side of stage `index` [N], k·dⁿ with growth and stiffening: the load on
    its shaft.

    wheel_speed, wheel_speed_b: set surface speeds [m/s], B None: as A; shapes broadcast.
    """
    stage, contact = launcher.stage(index), launcher.contact
    other = wheel_speed if wheel_speed_b is None else wheel_speed_b
    grown = nip_growth(stage, wheel_speed, other)
    depth = np.asarray(stage.layout.crush_share * stage.crush + grown)
    stiffness = stiffened(contact.stiffness, contact.stiffening, nip_speed(stage, wheel_speed, other))
    return np.asarray(stiffness * depth**contact.exponent)


def squeeze_acceleration(
    launcher: Launcher, index: int, wheel_speed: Number, wheel_speed_b: Number | None = None
) -> Floats:
    """Return `peak_normal` / mass of the projectile: its greatest acceleration across the barrel [m/s^2]."""
    return peak_normal(launcher, index, wheel_speed, wheel_speed_b) / launcher.projectile.mass


def spin_acceleration(spin: Number, projectile: Projectile) -> Floats:
    """Return the centripetal acceleration at the projectile's rim, rΩ² [m/s^2], at `spin` [rad/s]."""
    return np.asarray(projectile.radius * np.square(spin))

"""Energies of a moving projectile, and forces of a nip on wheel, shaft and tyre."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.projectile import Projectile
from stager.model.wheel import Wheel
from stager.physics.rotor import swell


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
    """Greatest normal force of one side of stage `index` [N], k·dⁿ with growth: the load on shaft and bearing.

    Set surface speeds wheel_speed, wheel_speed_b (None: equal) [m/s]; shapes broadcast.
    """
    stage, contact = launcher.stage(index), launcher.contact
    grown = swell(stage, wheel_speed, wheel_speed if wheel_speed_b is None else wheel_speed_b)
    depth = np.asarray(stage.layout.crush_share * stage.crush + grown)
    return np.asarray(contact.stiffness * depth**contact.exponent)


def squeeze(launcher: Launcher, index: int, wheel_speed: Number, wheel_speed_b: Number | None = None) -> Floats:
    """Return the greatest normal force by the projectile's mass [m/s^2], across the barrel; see `peak_normal`."""
    return peak_normal(launcher, index, wheel_speed, wheel_speed_b) / launcher.projectile.mass


def spin_acceleration(spin: Number, projectile: Projectile) -> Floats:
    """Return rΩ² [m/s^2] that spin [rad/s] gives the rim of the projectile; rolling it is v²/r."""
    return np.asarray(projectile.radius * np.square(spin))


def peak_grip(launcher: Launcher, index: int, wheel_speed: Number, wheel_speed_b: Number | None = None) -> Floats:
    """Return the greatest friction force that one wheel of stage `index` can meet [N]; arguments as in `peak_normal`.

    The greatest coefficient between no slip and `wheel_speed` [m/s] on the greatest normal force: an upper bound.
    """
    grip = launcher.contact.friction.greatest(np.asarray(wheel_speed, dtype=np.float64))
    return grip * peak_normal(launcher, index, wheel_speed, wheel_speed_b)

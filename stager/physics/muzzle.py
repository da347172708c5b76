"""Behind the last wheel: energy loss in the outlet, and the readings of chronograph, range and tachometer."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.projectile import BALL, HOLLOW_BALL, Projectile
from stager.physics.air import SEA_LEVEL, STANDARD_GRAVITY, sphere_coefficient, sphere_reynolds
from stager.physics.flight import Release, land

BLUNT_DRAG = 1.0
"""Drag coefficient of a flat-faced body on its frontal area [-]; of a disc's rim too. Rough: cylinders along the
flow have 0.85 to 0.99, square plates 1.17 (Aeronautical Engineer's Data Book, fig. 5.13)."""
MAX_SPEED_RATIO = 30.0
"""Greatest speed that is searched for, by the speed without air [-]."""
HALVINGS = 30
"""Halvings of the logarithm of that range, to 3e-9 of the speed."""


def outlet_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return the speed at which the projectile leaves the outlet.

    v_out² = v² − 2·loss/m; 0 where the outlet takes more than the throw's energy.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        [m/s], shape as `exit_speed`.
    """
    exit_speed = np.asarray(exit_speed, dtype=np.float64)
    if launcher.outlet is None:
        return exit_speed
    lost = 2 * launcher.outlet.loss / launcher.projectile.mass
    return np.sqrt(np.maximum(exit_speed**2 - lost, 0.0))


def speed_before_outlet(launcher: Launcher, speed: Number) -> Number:
    """Return the speed behind the last wheel [m/s] that leaves the outlet at `speed` [m/s]; shapes broadcast."""
    if launcher.outlet is None:
        return speed
    return np.sqrt(speed**2 + 2 * launcher.outlet.loss / launcher.projectile.mass)


def indicated_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return the reading of the chronograph.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        Outlet speed, slowed by the air over `measuring.distance`, / `measuring.exit_speed` [m/s].
    """
    speed = outlet_speed(launcher, exit_speed)
    if launcher.measuring is None:
        return speed
    return np.asarray(speed * _slowed(launcher, speed) / launcher.measuring.exit_speed)


def last_wheel_speed(launcher: Launcher, indicated: Floats) -> Floats:
    """Return the speed behind the last wheel [m/s] for a reading `indicated` of the chronograph [m/s].

    The inverse of `indicated_speed`, with the drag coefficient at the chronograph; shapes broadcast.
    """
    speed = indicated
    if launcher.measuring is not None:
        speed = speed * launcher.measuring.exit_speed
        speed = speed / _slowed(launcher, speed)
    return np.where(indicated > 0, np.asarray(speed_before_outlet(launcher, speed)), indicated)


def speed_from_range(projectile: Projectile, distance: Floats, drop: Floats) -> Floats:
    """Return the exit speed of a level throw from where it lands.

    Parameters
    ----------
    projectile : Projectile
        Drag is that of a sphere; for other shapes it is unknown and left out.
    distance, drop : ndarray, shape (n,)
        Along the ground, and height of the outlet above it [m]; NaN where not measured.

    Returns
    -------
    ndarray, shape (n,)
        [m/s]; 0 for a distance of 0, NaN where not measured, inf where drag lets no throw fly so far.
    """
    plain = distance * np.sqrt(STANDARD_GRAVITY / (2 * np.maximum(drop, 1e-12)))
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return plain
    known = np.flatnonzero(np.isfinite(plain) & (plain > 0))
    out = plain.copy()
    if not known.size:
        return out
    low, high = plain[known].copy(), plain[known] * MAX_SPEED_RATIO
    for number in range(HALVINGS):
        middle = np.sqrt(low * high) if number else high
        there = land(Release(projectile=projectile, speed=middle, height=drop[known])).distance
        short = ~(there >= distance[known])
        if number == 0:
            unreachable = short
            continue
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    out[known] = np.where(unreachable, np.inf, np.sqrt(low * high))
    return out


def speed_from_time(projectile: Projectile, time: Floats, distance: Floats) -> Floats:
    """Return the initial speed [m/s] of a flight of `time` [s] over `distance` [m], (n,); NaN where not measured.

    With drag k = ρcA/(2m): t = (exp(k x) − 1)/(k v), c at the mean speed.
    """
    mean = np.where(time > 0, distance / np.where(time > 0, time, 1.0), np.nan)
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return mean
    drag = SEA_LEVEL.density * _coefficient(projectile, mean) * projectile.frontal_area / (2 * projectile.mass)
    return np.asarray(mean * np.expm1(drag * distance) / (drag * distance))


def indicated_wheel_speed(launcher: Launcher, wheel_speed: Number) -> Number:
    """Return the reading of the tachometer at `wheel_speed` [m/s or rad/s], in the same unit."""
    return wheel_speed if launcher.measuring is None else wheel_speed / launcher.measuring.wheel_speed


def _slowed(launcher: Launcher, speed: Number) -> Number:
    """Return the share of `speed` [m/s] that remains at the chronograph: exp(−ρ c A x/(2m)), c at `speed`."""
    measuring, projectile = launcher.measuring, launcher.projectile
    if measuring is None or not np.any(measuring.distance):
        return 1.0
    drag = SEA_LEVEL.density * _coefficient(projectile, speed) * projectile.frontal_area / (2 * projectile.mass)
    return np.exp(-drag * measuring.distance)


def _coefficient(projectile: Projectile, speed: Number) -> Number:
    """Return the drag coefficient on the frontal area [-] at `speed` [m/s]: a sphere's, else a blunt body's."""
    if projectile.shape in (BALL, HOLLOW_BALL):
        return sphere_coefficient(sphere_reynolds(projectile.diameter, np.maximum(speed, 0.1)))
    return BLUNT_DRAG



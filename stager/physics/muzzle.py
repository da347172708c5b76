"""Behind the last wheel: what barrel or spout takes, what the air takes, and what instruments show of the rest."""

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
MOST_SLOWED = 30.0
"""A throw faster than this many times the speed without air is not looked for [-]."""
HALVINGS = 30


def outlet_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return the speed at which the projectile leaves the outlet.

    v_out² = v² − 2·loss/m. A throw whose energy the outlet takes whole stays in it.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        [m/s]; 0 where it does not come out.
    """
    exit_speed = np.asarray(exit_speed, dtype=np.float64)
    if launcher.outlet is None:
        return exit_speed
    lost = 2 * launcher.outlet.loss / launcher.projectile.mass
    return np.sqrt(np.maximum(exit_speed**2 - lost, 0.0))


def speed_before_outlet(launcher: Launcher, speed: Number) -> Number:
    """Return the speed at the last wheel [m/s] of what leaves the outlet at `speed` [m/s]; shapes broadcast."""
    if launcher.outlet is None:
        return speed
    return np.sqrt(speed**2 + 2 * launcher.outlet.loss / launcher.projectile.mass)


def indicated_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return what the chronograph shows.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        Outlet speed, slowed by the air over `measuring.distance`, by `measuring.exit_speed` [m/s].
    """
    speed = outlet_speed(launcher, exit_speed)
    if launcher.measuring is None:
        return speed
    return np.asarray(speed * _slowed(launcher, speed) / launcher.measuring.exit_speed)


def last_wheel_speed(launcher: Launcher, indicated: Floats) -> Floats:
    """Return the speed at the last wheel [m/s] of a throw that the chronograph shows at `indicated` [m/s].

    The inverse of `indicated_speed`, with the drag coefficient at the chronograph; shapes broadcast.
    """
    speed = indicated
    if launcher.measuring is not None:
        speed = speed * launcher.measuring.exit_speed
        speed = speed / _slowed(launcher, speed)
    return np.where(indicated > 0, np.asarray(speed_before_outlet(launcher, speed)), indicated)


def speed_from_range(projectile: Projectile, distance: Floats, drop: Floats) -> Floats:
    """Return the speed of a level throw that lands at `distance` below by `drop`.

    Parameters
    ----------
    projectile : Projectile
        Air slows balls by a sphere's drag; of what is none it is left out, since its drag is not known.
    distance, drop : ndarray, shape (n,)
        [m]; NaN where not measured.

    Returns
    -------
    ndarray, shape (n,)
        [m/s]; 0 for a distance of 0, NaN where not measured, inf where the air lets nothing fly so far.
    """
    plain = distance * np.sqrt(STANDARD_GRAVITY / (2 * np.maximum(drop, 1e-12)))
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return plain
    known = np.flatnonzero(np.isfinite(plain) & (plain > 0))
    out = plain.copy()
    if not known.size:
        return out
    low, high = plain[known].copy(), plain[known] * MOST_SLOWED
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
    """Return the speed at the start of a flight of `time` [s] over `distance` [m], (n,); NaN where not measured.

    With drag k = ρcA/(2m): t = (exp(k x) − 1)/(k v), c as it is at the mean speed.
    """
    mean = np.where(time > 0, distance / np.where(time > 0, time, 1.0), np.nan)
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return mean
    drag = SEA_LEVEL.density * _coefficient(projectile, mean) * projectile.frontal_area / (2 * projectile.mass)
    return np.asarray(mean * np.expm1(drag * distance) / (drag * distance))


def indicated_wheel_speed(launcher: Launcher, wheel_speed: Number) -> Number:
    """Return what the tachometer shows of a wheel at `wheel_speed` [m/s or rad/s], in the same unit."""
    return wheel_speed if launcher.measuring is None else wheel_speed / launcher.measuring.wheel_speed


def _slowed(launcher: Launcher, speed: Number) -> Number:
    """Return the share of `speed` [m/s] that is left at the chronograph: exp(−ρ c A x/(2m)), c as it is at `speed`."""
    measuring, projectile = launcher.measuring, launcher.projectile
    if measuring is None or not np.any(measuring.distance):
        return 1.0
    drag = SEA_LEVEL.density * _coefficient(projectile, speed) * projectile.frontal_area / (2 * projectile.mass)
    return np.exp(-drag * measuring.distance)


def _coefficient(projectile: Projectile, speed: Number) -> Number:
    """Drag coefficient on the frontal area [-] at `speed` [m/s]: of a sphere, of a blunt body for what is none."""
    if projectile.shape in (BALL, HOLLOW_BALL):
        return sphere_coefficient(sphere_reynolds(projectile.diameter, np.maximum(speed, 0.1)))
    return BLUNT_DRAG



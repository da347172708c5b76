"""Free run between stages, with friction and air drag."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Guide, Launcher
from stager.model.projectile import Projectile
from stager.physics.layout import free_runs

STANDARD_GRAVITY = 9.80665
"""[m/s^2]; ISO 2533."""
AIR_DENSITY = 1.225
"""ISO 2533 at sea level [kg/m^3]."""
ROUND_DRAG = 0.47
"""Drag coefficient of a sphere below the drag crisis [-]; 0.45 in Aeronautical Engineer's Data Book, fig. 5.13."""
BLUNT_DRAG = 1.0
"""Typical drag coefficient of a blunt body [-]; there 0.85 to 0.99 of cylinders along the flow."""


def free_flight(speed: Any, run: Any, slowing: Any, drag: Any) -> Any:
    """Return the speed [m/s] after a free run of `run` [m], 0 where it comes to rest.

    d(v²)/dx = −slowing − drag·v², solved exactly: slowing [m/s^2], drag [1/m]. Numbers or arrays.
    """
    drop = np.maximum(drag * run, 1e-300)
    lost = -np.expm1(-drop)
    return np.sqrt(np.maximum(speed * speed * (1.0 - lost) - slowing * run * lost / drop, 0.0))


def slowing(guide: Guide | None, projectile: Projectile) -> tuple[Number, Number]:
    """Return the losses in a guide: −d(v²)/dx by friction, 2 μ g [m/s^2], and ρ c A/m of air drag [1/m].

    The drag coefficient on the frontal area is constant. 0, 0 without a guide.
    """
    if guide is None:
        return 0.0, 0.0
    friction = 2 * guide.friction * STANDARD_GRAVITY
    if not guide.air_drag:
        return friction, 0.0
    coefficient = ROUND_DRAG if projectile.shape.rolls else BLUNT_DRAG
    area = np.pi * projectile.radius**2 if projectile.thickness is None else projectile.frontal_area
    return friction, AIR_DENSITY * coefficient * area / projectile.mass


def free_run(guide: Guide | None, projectile: Projectile, speed: Floats, run: Number) -> Floats:
    """Return the speed [m/s] after a free run of `run` [m] ≥ 0, 0 where it comes to rest; shapes broadcast."""
    if guide is None:
        return speed
    found: Floats = free_flight(speed, np.maximum(run, 0.0), *slowing(guide, projectile))
    return found


def run_up(launcher: Launcher, index: int, exit_speed: Floats, wheel_speed: Floats) -> Floats:
    """Return the entry speed of stage `index` [m/s] from the exit speed of the stage before it [m/s].

    wheel_speed: of the wheels, for their growth [m/s], shape (1,).
    """
    if index == 0 or launcher.guide is None:
        return exit_speed
    run = free_runs(launcher, index + 1, wheel_speed)[-1]
    return free_run(launcher.guide, launcher.projectile, exit_speed, np.maximum(run, 0.0))

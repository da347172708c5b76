"""The free run between stages."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.contact import Guide
from stager.model.projectile import Projectile

STANDARD_GRAVITY = 9.80665
AIR_DENSITY = 1.225
"""ISO 2533 at sea level [kg/m^3]."""
ROUND_DRAG, BLUNT_DRAG = 0.47, 1.0
"""Typical drag coefficients of a sphere and of a blunt body below the drag crisis; from memory."""


def free_run(guide: Guide | None, projectile: Projectile, speed: Floats, run: Number) -> Floats:
    """Speed [m/s] after a free run of `run` [m] ≥ 0; 0 where it comes to rest. Shapes broadcast.

    Friction acts on the weight, Δ(v²) = −2 μ g L; air drag, where asked for, by a constant coefficient on the
    frontal area: d(v²)/dx = −2 μ g − (ρ c A/m) v², solved exactly. Without a guide nothing is lost.
    """
    if guide is None:
        return speed
    slowing, run = 2 * guide.friction * STANDARD_GRAVITY, np.maximum(run, 0.0)
    if not guide.air_drag:
        return np.sqrt(np.maximum(speed**2 - slowing * run, 0.0))
    coefficient = ROUND_DRAG if projectile.shape.rolls else BLUNT_DRAG
    area = np.pi * projectile.radius**2 if projectile.thickness is None else projectile.frontal_area
    drag = AIR_DENSITY * coefficient * area / projectile.mass
    return np.sqrt(np.maximum(speed**2 + (speed**2 + slowing / drag) * np.expm1(-drag * run), 0.0))

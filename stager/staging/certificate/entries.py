"""What may come into a stage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.physics.guide import free_run

BELOW_TOP = 1.0 - np.array(
    [1.0, 0.5, 0.3, 0.2, 0.13, 0.08, 0.05, 0.03, 0.02, 0.013, 8e-3, 5e-3, 3e-3, 2e-3, 1e-3, 5e-4, 2e-4, 0.0]
)
"""Where the range of entries is cut, as shares of the fastest: it is what the fastest do that decides."""


@dataclass(frozen=True, slots=True)
class Entries:
    """Boxes that hold all that may come in, arrays (boxes,) [m/s].

    low, high of the leading speed (v, or Y where it spins), band_low, band_high of z, 0 without spin.
    """

    low: Floats
    high: Floats
    band_low: Floats
    band_high: Floats


def feed_entries(speed: float) -> Entries:
    """The feed's entry at `speed` [m/s], without spin."""
    at, none = np.array([speed]), np.zeros(1)
    return Entries(at, at, none, none)


def speeds_up_to(top: float) -> Entries:
    """All entry speeds from 0 to `top` [m/s] without spin, finely cut where they are greatest."""
    edges, none = top * BELOW_TOP, np.zeros(BELOW_TOP.size - 1)
    return Entries(edges[:-1], edges[1:], none, none)


def after_run(launcher: Launcher, speed: float, run: float) -> float:
    """The greatest speed [m/s] after a free run at least `run` [m] long, from up to `speed` [m/s]."""
    return float(free_run(launcher.guide, launcher.projectile, np.asarray(speed), max(run, 0.0)))

"""How fast a wheel may turn that must stay below its grip limit.

Grip limits are searched for, so what lies between the entry speeds looked at is evidence, not proof: each box of
entries takes the greatest at its corners and in its middle, and what they bend by.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stager.bounds.entries import Entries
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.grip_limit import grip_limit

GRIP_EVIDENCE = "grip limits between the entry speeds looked at (evidence)"
FOUND_WITHIN = 1e-4
"""How far below the true one a grip limit that was searched for may lie [-]."""
SLOWEST = 1e-3
NODES, UNLIMITED = 97, 1e6


def capped(launcher: Launcher, index: int, entries: Entries, top: float, margin: float) -> Floats:
    """Greatest wheel speed [m/s] of stage `index` that any entry of each box allows `margin` below its grip limit.

    top: end of the range in which the grip limit is looked for [m/s]; shape (entries,).
    """
    projectile = launcher.projectile
    inertia = projectile.shape.inertia_factor
    lead, band = entries.corners
    speed = np.maximum((lead + inertia * band) / (1.0 + inertia), SLOWEST)
    spin = (lead - band) / ((1.0 + inertia) * float(projectile.radius))
    pairs, where = np.unique(np.stack([speed.ravel(), spin.ravel()]), axis=1, return_inverse=True)
    found = grip_limit(launcher, index, pairs[0], pairs[1], np.full(pairs[0].shape, top)).wheel_speed
    limits = np.where(np.isnan(found), np.inf, found)[where.reshape(-1)].reshape(speed.shape)
    with np.errstate(invalid="ignore"):
        bend = np.abs(2.0 * limits[2] - limits.min(axis=0) - limits.max(axis=0))
    most = limits.max(axis=0) + np.nan_to_num(bend, nan=np.inf)
    return _below(most, margin, top)


def margins(
    launcher: Launcher, index: int, fastest: float, top: float, margin: float
) -> Callable[[Floats, Floats], Floats]:
    """The same for entries without spin, as a function: greatest wheel speed [m/s] that any entry from … to [m/s]
    allows, where none is faster than `fastest` [m/s]. Limits are found at NODES speeds and are straight in between but
    for what they bend by."""
    nodes = np.linspace(0.0, fastest, NODES)
    found = grip_limit(launcher, index, np.maximum(nodes, SLOWEST), np.zeros(NODES), np.full(NODES, top)).wheel_speed
    limits = np.where(np.isnan(found), UNLIMITED, found)
    bend = np.abs(np.diff(np.pad(limits, 1, mode="edge"), n=2))
    bend[[0, -1]] = bend[1], bend[-2]

    def most(low: Floats, high: Floats) -> Floats:
        first, last = np.searchsorted(nodes, low), np.searchsorted(nodes, high)
        at_ends = np.maximum(np.interp(low, nodes, limits), np.interp(high, nodes, limits))
        inside = _greatest(limits, first, last)
        around = _greatest(bend, np.maximum(first - 1, 0), np.minimum(last + 1, NODES))
        return _below(np.maximum(at_ends, inside) + around, margin, top)

    return most


def _below(limit: Floats, margin: float, top: float) -> Floats:
    return np.asarray(np.minimum(limit * (1.0 - margin) * (1.0 + FOUND_WITHIN), top))


def _greatest(values: Floats, first: NDArray[np.intp], last: NDArray[np.intp]) -> Floats:
    """Greatest of `values` from first to before last; 0 where there is none."""
    places = np.arange(values.size)
    chosen = (places >= first[:, None]) & (places < last[:, None])
    return np.asarray(np.where(chosen, values, 0.0).max(axis=1))

"""What may come into a stage, and how fast a wheel may turn that must stay below its grip limit.

Grip limits are searched for, so what lies between the entry speeds looked at is evidence, not proof: each box of
entries takes the greatest at its corners and in its middle, and what they bend by.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.bounds.records import Enclosed
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.grip_limit import grip_limit
from stager.physics.guide import free_run

BELOW_TOP = 1.0 - np.array(
    [1.0, 0.5, 0.3, 0.2, 0.13, 0.08, 0.05, 0.03, 0.02, 0.013, 8e-3, 5e-3, 3e-3, 2e-3, 1e-3, 5e-4, 2e-4, 0.0]
)
"""Where the range of entries is cut, as shares of the fastest: it is what the fastest do that decides."""
SAMPLES = 9


@dataclass(frozen=True, slots=True)
class Entries:
    """Boxes that hold all that may come in, arrays (boxes,) [m/s].

    low, high of the leading speed Y = v + β rΩ, band_low, band_high of z = v − rΩ; without spin both are v.
    """

    low: Floats
    high: Floats
    band_low: Floats
    band_high: Floats
    spins: bool

    @property
    def corners(self) -> tuple[Floats, Floats]:
        """Y and z [m/s] at the corners of each box and in its middle, each (5, boxes)."""
        middle, band = 0.5 * (self.low + self.high), 0.5 * (self.band_low + self.band_high)
        if not self.spins:
            lead = np.stack([self.low, self.low, middle, self.high, self.high])
            return lead, lead
        return (
            np.stack([self.low, self.low, middle, self.high, self.high]),
            np.stack([self.band_low, self.band_high, band, self.band_low, self.band_high]),
        )


def feed_entries(speed: float) -> Entries:
    """Return the feed's entry at `speed` [m/s], without spin."""
    at = np.array([speed])
    return Entries(at, at, at, at, False)


def leaving(enclosed: Enclosed, floor: float, *, spins: bool) -> Entries:
    """All that leaves a stage with Y above `floor` [m/s], finely cut where it is fastest; with spin each slice of Y has
    the z of all cells that may leave there."""
    top = float(enclosed.lead_high.max(initial=0.0))
    edges = np.unique(np.maximum(top * BELOW_TOP, min(floor, top)))
    low, high = edges[:-1], edges[1:]
    if not spins:
        return Entries(low, high, low, high, False)
    inside = (enclosed.lead_low[:, None] <= high) & (enclosed.lead_high[:, None] >= low)
    band_low = np.where(inside, enclosed.band_low[:, None], np.inf).min(axis=0, initial=np.inf)
    band_high = np.where(inside, enclosed.band_high[:, None], -np.inf).max(axis=0, initial=-np.inf)
    held = band_low <= band_high
    return Entries(low[held], high[held], band_low[held], band_high[held], True)


def after_run(launcher: Launcher, entries: Entries, least: float, most: float) -> Entries:
    """The same after a free run between `least` and `most` [m] long. Spin is kept, so Y and z lose what v does."""
    if launcher.guide is None:
        return entries
    if not entries.spins:
        low, high = _left(launcher, entries.low, most), _left(launcher, entries.high, least)
        return Entries(low, high, low, high, False)
    inertia = launcher.projectile.shape.inertia_factor
    share = np.linspace(0.0, 1.0, SAMPLES)[:, None]
    slow = np.maximum((entries.low + inertia * entries.band_low) / (1.0 + inertia), 0.0)
    fast = np.maximum((entries.high + inertia * entries.band_high) / (1.0 + inertia), 0.0)
    speed = slow + share * (fast - slow)
    short, long = (speed - _left(launcher, speed, run) for run in (least, most))
    # What is lost is a smooth function of speed: between samples it may dip by no more than they differ.
    between = np.abs(np.diff(short, axis=0)).max(axis=0)
    lost_low = np.maximum(short.min(axis=0) - between, 0.0)
    lost_high = long.max(axis=0) + np.abs(np.diff(long, axis=0)).max(axis=0)
    return Entries(
        np.maximum(entries.low - lost_high, 0.0), np.maximum(entries.high - lost_low, 0.0),
        entries.band_low - lost_high, entries.band_high - lost_low, True,
    )  # fmt: skip


def _left(launcher: Launcher, speed: Floats, run: float) -> Floats:
    return np.asarray(free_run(launcher.guide, launcher.projectile, speed, run))


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
    """Return the greatest of `values` from first to before last; 0 where there is none."""
    places = np.arange(values.size)
    chosen = (places >= first[:, None]) & (places < last[:, None])
    return np.asarray(np.where(chosen, values, 0.0).max(axis=1))

"""Cells of entry and wheel speed and enclosures of their exits; sets of entries of a stage.

Of these sets the greatest wheel speed that keeps a margin to the grip limit is found. Grip limits are found
numerically, so between the entry speeds tried they are evidence, not proof: each box of entries takes the greatest at
its corners and in its middle, plus the curvature between them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.barrel import free_run
from stager.physics.grip_limit import grip_limit

RESIDUE = 1e-5
"""Share of the exit speed by which bounds are widened beyond the step error found by halving steps [-]."""
ENTRY, BAND, WHEEL = range(3)
"""Sides of a cell, see `Cells`."""


@dataclass(slots=True)
class Meter:
    """Counts the integration steps of single cells."""

    spent: int = 0


@dataclass(frozen=True, slots=True)
class Cells:
    """Boxes from `low` to `high`, arrays (sides, cells) [m/s].

    Sides: ENTRY, Y = v + β rΩ at the entry; BAND, z = v − rΩ at the entry (without spin both are v); WHEEL, the set
    surface speed. group: index of the entry box that each belongs to, (cells,).
    """

    low: Floats
    high: Floats
    group: NDArray[np.intp]

    def __len__(self) -> int:
        return int(self.low.shape[1])

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Cells:
        """Return the chosen cells."""
        return Cells(self.low[:, chosen], self.high[:, chosen], self.group[chosen])

    def join(self, other: Cells) -> Cells:
        """Return these and the other cells."""
        return Cells(
            np.hstack([self.low, other.low]), np.hstack([self.high, other.high]),
            np.concatenate([self.group, other.group]),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Enclosed:
    """Enclosures of the exits of cells, arrays (cells,).

    low, high: exit speed [m/s] (high 0: all throws jam, low 0: some may); lead_low, lead_high, band_low, band_high:
    ranges of the next stage's ENTRY and BAND [m/s]; strain: least peak acceleration of any throw of the cell [m/s^2].
    """

    low: Floats
    high: Floats
    lead_low: Floats
    lead_high: Floats
    band_low: Floats
    band_high: Floats
    strain: Floats

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Enclosed:
        """Return the enclosures of the chosen cells."""
        return Enclosed(*(value[chosen] for value in self._all()))

    def join(self, other: Enclosed) -> Enclosed:
        """Return these and the other enclosures."""
        return Enclosed(*(np.concatenate(pair) for pair in zip(self._all(), other._all(), strict=True)))

    def put(self, chosen: NDArray[np.intp], other: Enclosed) -> Enclosed:
        """Return these with those of the chosen cells replaced."""
        fresh = [value.copy() for value in self._all()]
        for value, new in zip(fresh, other._all(), strict=True):
            value[chosen] = new
        return Enclosed(*fresh)

    def apart(self, other: Enclosed) -> Floats:
        """Return the greatest distance of the ends from those of `other` [m/s], lower ends of exit speed left out."""
        pairs = zip(self._all()[1:6], other._all()[1:6], strict=True)
        ends = [np.abs(one - two) for number, (one, two) in enumerate(pairs) if number != 1]
        return np.asarray(np.max(ends, axis=0))

    def beyond(self, other: Enclosed) -> Enclosed:
        """Return ends extrapolated from those of `other`, found with twice the step (Richardson, order 2).

        Where throws may jam the ends stay.
        """
        free = (self.low > 0) & (other.low > 0)
        pairs = list(zip(self._all()[:6], other._all()[:6], strict=True))
        ends = [np.where(free, one + (one - two) / 3.0, one) for one, two in pairs]
        return Enclosed(*[*ends, self.strain])

    def settled(self, other: Enclosed, moved: Floats) -> Enclosed:
        """Return ends extrapolated from those of `other`, and widened by the distance `moved` between them [m/s]."""
        return self.beyond(other).widened(moved + RESIDUE * self.high)

    def widened(self, by: Floats) -> Enclosed:
        """Return the ranges widened `by` [m/s]; where all throws jam they stay."""
        through = self.high > 0
        by = np.where(through, by, 0.0)
        return Enclosed(
            np.maximum(self.low - by, 0.0), self.high + by, self.lead_low - by, self.lead_high + by,
            self.band_low - by, self.band_high + by, self.strain,
        )  # fmt: skip

    def _all(self) -> tuple[Floats, ...]:
        return (
            self.low, self.high, self.lead_low, self.lead_high, self.band_low, self.band_high, self.strain,
        )  # fmt: skip


Enclose = Callable[[Cells, int], Enclosed]
"""Returns the enclosures of cells, integrated in at least so many steps for each smooth piece of the contact."""

Ceiling = Callable[[Cells], Floats]
"""Returns exit speeds that no throw of the cells exceeds [m/s], without integration."""


BELOW_TOP = 1.0 - np.array(
    [1.0, 0.5, 0.3, 0.2, 0.13, 0.08, 0.05, 0.03, 0.02, 0.013, 8e-3, 5e-3, 3e-3, 2e-3, 1e-3, 5e-4, 2e-4, 0.0]
)
"""Edges of the entry boxes over the fastest entry, dense near it, as the fastest entries decide the bound [-]."""
SAMPLES = 9
"""Speeds at which the loss over a free path is computed."""


@dataclass(frozen=True, slots=True)
class Entries:
    """Boxes that contain every possible entry, arrays (boxes,) [m/s].

    low, high: of Y = v + β rΩ; band_low, band_high: of z = v − rΩ; without spin both are v.
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
    """Return the exits of a stage with Y above `floor` [m/s] as entries, in finer boxes where they are fastest.

    With spin, each slice of Y has the range of z of all cells that may leave there.
    """
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
    """Return entries after a free path of `least` to `most` [m]; spin stays, so Y and z lose as much as v."""
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
    # The loss is a smooth function of speed: between samples it differs by no more than they do.
    between = np.abs(np.diff(short, axis=0)).max(axis=0)
    lost_low = np.maximum(short.min(axis=0) - between, 0.0)
    lost_high = long.max(axis=0) + np.abs(np.diff(long, axis=0)).max(axis=0)
    return Entries(
        np.maximum(entries.low - lost_high, 0.0), np.maximum(entries.high - lost_low, 0.0),
        entries.band_low - lost_high, entries.band_high - lost_low, True,
    )  # fmt: skip


def _left(launcher: Launcher, speed: Floats, run: float) -> Floats:
    """Return the speed [m/s] after a free path of `run` [m]."""
    return np.asarray(free_run(launcher.guide, launcher.projectile, speed, run))


GRIP_EVIDENCE = "grip limits between the entry speeds that were tried"
FOUND_WITHIN = 1e-4
"""Relative error by which a grip limit that was found may be too low [-]."""
SLOWEST = 1e-3
"""Least entry speed at which a grip limit is sought [m/s]."""
NODES = 97
"""Entry speeds at which `margins` finds grip limits."""
UNLIMITED = 1e6
"""Stands for no grip limit within the range [m/s]."""


def capped(launcher: Launcher, index: int, entries: Entries, top: float, margin: float) -> Floats:
    """Return the greatest wheel speed of stage `index` that is `margin` below the grip limit of any entry in each box.

    top: end of the speed range [m/s]. Returns [m/s], shape (boxes,).
    """
    projectile = launcher.projectile
    inertia = projectile.shape.inertia_factor
    lead, band = entries.corners
    speed = np.maximum((lead + inertia * band) / (1.0 + inertia), SLOWEST)
    spin = (lead - band) / ((1.0 + inertia) * float(projectile.radius))
    pairs, where = np.unique(np.stack([speed.ravel(), spin.ravel()]), axis=1, return_inverse=True)
    found = grip_limit(launcher, index, pairs[0], pairs[1], np.full(pairs[0].shape, top), margin=margin).wheel_speed
    limits = np.where(np.isnan(found), np.inf, found)[where.reshape(-1)].reshape(speed.shape)
    with np.errstate(invalid="ignore"):
        bend = np.abs(2.0 * limits[2] - limits.min(axis=0) - limits.max(axis=0))
    most = limits.max(axis=0) + np.nan_to_num(bend, nan=np.inf)
    return _below(most, margin, top)


def margins(
    launcher: Launcher, index: int, fastest: float, top: float, margin: float
) -> Callable[[Floats, Floats], Floats]:
    """Return `capped` for entries without spin as a function of the ends [m/s] of intervals of entry speed.

    fastest: greatest entry speed [m/s]. Grip limits are found at NODES speeds, and taken as linear in between plus
    their curvature.
    """
    nodes = np.linspace(0.0, fastest, NODES)
    found = grip_limit(
        launcher, index, np.maximum(nodes, SLOWEST), np.zeros(NODES), np.full(NODES, top), margin=margin
    ).wheel_speed
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
    """Return wheel speeds `margin` below grip limits [m/s], at most `top`."""
    return np.asarray(np.minimum(limit * (1.0 - margin) * (1.0 + FOUND_WITHIN), top))


def _greatest(values: Floats, first: NDArray[np.intp], last: NDArray[np.intp]) -> Floats:
    """Return the greatest of `values` from index `first` to before `last`, 0 where there is none."""
    places = np.arange(values.size)
    chosen = (places >= first[:, None]) & (places < last[:, None])
    return np.asarray(np.where(chosen, values, 0.0).max(axis=1))

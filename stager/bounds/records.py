"""Records of the bound: cells of entry and wheel speed, and enclosures of their exits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

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

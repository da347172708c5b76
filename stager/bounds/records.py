"""What goes through the certificate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

RESIDUE = 1e-5
"""Share of the exit speed that bounds are put out by beyond what halving the steps tells [-]."""
ENTRY, BAND, WHEEL = range(3)
"""Sides of a cell."""


@dataclass(slots=True)
class Meter:
    """What bounds have cost: steps of single cells."""

    spent: int = 0


@dataclass(frozen=True, slots=True)
class Cells:
    """Boxes from `low` to `high`, arrays (sides, cells) [m/s].

    Sides: ENTRY, the entry's leading speed Y = v + β rΩ; BAND, z = v − rΩ (without spin both are v); WHEEL, the set
    surface speed. group: which entry each belongs to, (cells,).
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
        """These and the others."""
        return Cells(
            np.hstack([self.low, other.low]), np.hstack([self.high, other.high]),
            np.concatenate([self.group, other.group]),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Enclosed:
    """Where cells leave a stage, arrays (cells,).

    low, high: exit speed [m/s] (high 0: all jam, low 0: some may); lead_low, lead_high, band_low, band_high: its state
    as the next stage's ENTRY and BAND [m/s]; strain: every throw of the cell has a peak acceleration of at least this
    [m/s^2].
    """

    low: Floats
    high: Floats
    lead_low: Floats
    lead_high: Floats
    band_low: Floats
    band_high: Floats
    strain: Floats

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Enclosed:
        """Those of the chosen cells."""
        return Enclosed(*(value[chosen] for value in self._all()))

    def join(self, other: Enclosed) -> Enclosed:
        """These and the others."""
        return Enclosed(*(np.concatenate(pair) for pair in zip(self._all(), other._all(), strict=True)))

    def put(self, chosen: NDArray[np.intp], other: Enclosed) -> Enclosed:
        """These with the chosen cells' replaced."""
        fresh = [value.copy() for value in self._all()]
        for value, new in zip(fresh, other._all(), strict=True):
            value[chosen] = new
        return Enclosed(*fresh)

    def apart(self, other: Enclosed) -> Floats:
        """Return how far the upper ends and the bands' lie apart [m/s]."""
        pairs = zip(self._all()[1:6], other._all()[1:6], strict=True)
        ends = [np.abs(one - two) for number, (one, two) in enumerate(pairs) if number != 1]
        return np.asarray(np.max(ends, axis=0))

    def beyond(self, other: Enclosed) -> Enclosed:
        """Ends a third of the way from those of `other` farther on, where neither has any that jam."""
        free = (self.low > 0) & (other.low > 0)
        pairs = list(zip(self._all()[:6], other._all()[:6], strict=True))
        ends = [np.where(free, one + (one - two) / 3.0, one) for one, two in pairs]
        return Enclosed(*[*ends, self.strain])

    def settled(self, other: Enclosed, moved: Floats) -> Enclosed:
        """Ends moved on from those of `other`, in steps twice as long, and put out by all that they `moved` [m/s]."""
        return self.beyond(other).widened(moved + RESIDUE * self.high)

    def widened(self, by: Floats) -> Enclosed:
        """With ends put out `by` [m/s]; what jams still jams."""
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
"""Where cells leave a stage, in at least so many steps a piece of the way."""

Ceiling = Callable[[Cells], Floats]
"""Exit speeds that no throw of the cells exceeds [m/s], known without a look at their contact."""

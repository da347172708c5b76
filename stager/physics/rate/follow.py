"""Cycle after cycle to where they lead, in leaps, for lanes on which a quicker search of the settled state gives up."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

Cycle = Callable[[Floats, NDArray[np.intp]], tuple[Floats, NDArray[np.bool_]]]
REACH, LONGEST = 0.1, 0.995
"""Greatest leap, as a share of a wheel's set speed; greatest ratio of one change to the last that a leap trusts [-]."""


def follow(
    cycle: Cycle, start: Floats, scale: Floats, *, tolerance: float, most: int
) -> tuple[Floats, NDArray[np.bool_]]:
    """Where repetition of `cycle` leads from `start`, shape (lanes, rows), and whether it comes to rest there.

    cycle(x, lanes) gives what follows on x, and whether it jams: a lane that does stays where it first does so.
    After every two cycles a leap goes as far as they say that all further ones would, up to REACH of `scale`.
    """
    point, done = start.copy(), np.zeros(len(start), bool)
    going, last = np.arange(len(start)), np.zeros(start.shape)
    for call in range(most):
        after, jammed = cycle(point[going], going)
        change = after - point[going]
        rest = (np.abs(change) <= tolerance * scale[going]).all(axis=-1)
        done[going] = rest & ~jammed
        on = ~(rest | jammed)
        going, change = going[on], change[on]
        if going.size == 0:
            break
        point[going] += change
        if call % 2:
            ratio = np.clip(change / np.where(last[going] != 0, last[going], np.inf), 0.0, LONGEST)
            leap = np.clip(change * ratio / (1 - ratio), -REACH * scale[going], REACH * scale[going])
            point[going] = np.maximum(point[going] + leap, 0.0)
        last[going] = change
    return point, done

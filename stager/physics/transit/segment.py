"""A smooth piece of the way through nips."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import floor

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.profile import Profile

FIRST_STEP = 0.1
LEAST_STEP = 1e-4
FLOOR = 1e-5
STILL = 1e-9
"""What a speed is judged by where nothing moves [m/s]: behind a jam, before a wheel at rest."""
ARRIVED = 1.0 - 1e-12
PATIENCE = 100_000
NOTCHES = 16
LOWEST = int(np.floor(NOTCHES * np.log2(0.2)))
GROWTH = tuple(float(np.exp2(notch / NOTCHES)) for notch in range(LOWEST, int(NOTCHES * np.log2(5.0)) + 1))
"""Steps grow and shrink by notches of an octave, so that rounding does not move the places where they end."""


class Bend(Enum):
    """How the parameter of a segment, 0 to 1, runs along it: x = (a + b τ) τ, with a and b.

    A bent end makes powers of the crush smooth there.
    """

    STRAIGHT = (1.0, 0.0)
    OPENING = (0.0, 1.0)
    CLOSING = (2.0, -1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A smooth piece of the way, x = low + (slope + bow τ) τ [m], shapes (lanes,) or (1,); profiles: one a nip."""

    low: Floats
    slope: Floats
    bow: Floats
    profiles: tuple[Profile, ...]

    @property
    def span(self) -> Floats:
        """How long it is [m]."""
        return self.slope + self.bow

    def at(self, parameter: Floats) -> tuple[Floats, Floats]:
        """Place along the barrel [m] and its derivative by the parameter [m], shapes as `parameter`."""
        bent = self.bow * parameter
        place = self.slope + bent
        bent += place
        place *= parameter
        place += self.low
        return place, bent


def segment(low: Floats, span: Floats, bend: Bend, profiles: tuple[Profile, ...]) -> Segment:
    """The segment that starts at `low` [m] and is `span` long [m]."""
    slope, bow = bend.value
    return Segment(low=low, slope=span * slope, bow=span * bow, profiles=profiles)


def growths(ratio: Floats) -> Floats:
    """How much longer the next step may be, for local errors of `ratio` times what is allowed; shapes alike."""
    notch = np.fmin(ratio, _WORST)
    np.maximum(notch, _BEST, out=notch)
    np.log2(notch, out=notch)
    notch *= _EACH
    notch += _START
    found: Floats = _GROWTHS.take(notch.astype(np.intp))
    return found


def growth(ratio: float) -> float:
    """As `growths`, for one lane."""
    held = max(ratio if ratio < _HIGH else _HIGH, _LOW)
    return GROWTH[floor(float(np.log2(held)) * -0.25 * NOTCHES + _SHIFT)]


_SHIFT = float(NOTCHES * np.log2(0.9)) - LOWEST
_HIGH, _LOW = float(np.exp2((_SHIFT - 1e-9) * 4 / NOTCHES)), float(np.exp2((_SHIFT - len(GROWTH) + 1e-9) * 4 / NOTCHES))
_WORST, _BEST, _EACH, _START = (np.array(value) for value in (_HIGH, _LOW, -0.25 * NOTCHES, _SHIFT))
_GROWTHS = np.array(GROWTH)

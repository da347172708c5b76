"""A smooth piece of the way through nips."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import floor
from typing import TypeVar

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.profile import Profile

FIRST_STEP = 0.1
LEAST_STEP = 1e-4
FLOOR = 1e-5
STILL = 1e-9
"""What a speed is judged by where nothing moves [m/s]: behind a jam, before a wheel at rest."""
PATIENCE = 100_000
NOTCHES = 16
LOWEST = int(np.floor(NOTCHES * np.log2(0.2)))
GROWTH = tuple(float(np.exp2(notch / NOTCHES)) for notch in range(LOWEST, int(NOTCHES * np.log2(5.0)) + 1))
"""Steps grow and shrink by notches of an octave, so that rounding does not move the places where they end."""

Value = TypeVar("Value", float, Floats)


class Bend(Enum):
    """How the parameter of a segment, 0 to 1, runs along it. A bent end makes powers of the crush smooth there."""

    STRAIGHT = "x = τ"
    OPENING = "x = τ²"
    CLOSING = "x = 1 − (1 − τ)²"

    def at(self, low: Value, span: Value, parameter: Value) -> tuple[Value, Value]:
        """Place along the barrel [m] and its derivative by the parameter [m]; numbers or arrays alike."""
        if self is Bend.OPENING:
            stretch = span * parameter
            return low + stretch * parameter, 2.0 * stretch
        if self is Bend.CLOSING:
            stretch = span * (1.0 - parameter)
            return low + span - stretch * (1.0 - parameter), 2.0 * stretch
        return low + span * parameter, span

    @property
    def curvature(self) -> float:
        """Second derivative of the place by the parameter, as a share of the span."""
        return {Bend.STRAIGHT: 0.0, Bend.OPENING: 2.0, Bend.CLOSING: -2.0}[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A smooth piece of the way: starts at `low` [m], `span` long [m], shapes (lanes,) or (1,); profiles: one a nip."""

    low: Floats
    span: Floats
    bend: Bend
    profiles: tuple[Profile, ...]

    def at(self, parameter: Floats) -> tuple[Floats, Floats]:
        """Place along the barrel [m] and its derivative by the parameter [m], shapes (lanes,)."""
        place, stretch = self.bend.at(self.low, self.span, parameter)
        return place, stretch if stretch.shape == parameter.shape else np.broadcast_to(stretch, parameter.shape)


def growths(ratio: Floats) -> Floats:
    """How much longer the next step may be, for local errors of `ratio` times what is allowed; shapes alike."""
    notch = np.floor(NOTCHES * (_SAFETY - 0.25 * np.log2(np.maximum(np.fmin(ratio, 1e8), 1e-8))))
    found: Floats = _GROWTHS[np.clip(notch - LOWEST, 0, len(GROWTH) - 1).astype(np.intp)]
    return found


def growth(ratio: float) -> float:
    """As `growths`, for one lane."""
    notch = floor(NOTCHES * (_SAFETY - 0.25 * float(np.log2(max(ratio, 1e-8))))) if ratio < 1e8 else LOWEST
    return GROWTH[min(max(notch - LOWEST, 0), len(GROWTH) - 1)]


_SAFETY = float(np.log2(0.9))
_GROWTHS = np.array(GROWTH)

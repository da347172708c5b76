"""Extremes that the bounds share. A sign of 1 asks for the greatest, −1 for the least."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stager.bounds.press import Pressed
from stager.bounds.traction import Traction
from stager.model.arrays import Floats, Number

SLOWEST, SLOW = 1e-3, 0.05
"""Speeds that loosen a bound are divided by no less than the first, speeds that tighten it by no less than the second
[m/s]: a bound that tightens too slowly still holds."""
STOPPED = 1e-2
"""A cell jams whose upper bound of v² falls so far below 0, as a share of the square of the fastest so far."""


def normals(pressed: Pressed, grip: Floats, count: float, sign: float) -> Floats:
    """N·grip + count·(N t + l) [N] at its greatest or least."""
    return chosen_normals(pressed, grip, sign, count)[0]


def chosen_normals(pressed: Pressed, grip: Floats, signs: Number, count: float = 1.0) -> tuple[Floats, Floats]:
    """The same for many rows at once, signs (rows, 1), and the normal force [N] that each takes."""
    share = grip + count * _by_sign(signs, pressed.tilt_high, pressed.tilt_low)
    normal = np.where(signs * share > 0.0, pressed.high, pressed.low)
    return normal * share + count * _by_sign(signs, pressed.loss_high, pressed.loss_low), normal


def _by_sign(signs: Number, high: Floats, low: Floats) -> Floats:
    return high if high is low else np.where(np.asarray(signs) > 0.0, high, low)


def grip_extreme(traction: Traction, slips: Sequence[Floats], sign: float) -> tuple[Floats, Floats]:
    """φ and dφ/ds at its greatest or least for slips between slips[1] and slips[0] [m/s]."""
    return traction.greatest(slips[1], slips[0]) if sign > 0 else traction.least(slips[1], slips[0])


def per_speed(gain: Floats, sign: float, slow: Floats, fast: Floats) -> Floats:
    """gain/v at its greatest or least for v between `slow` and `fast` [m/s]."""
    return gain / np.where(sign * gain > 0.0, np.maximum(slow, SLOWEST), np.maximum(fast, SLOW))


def product(factor: Floats, ends: Floats) -> tuple[Floats, Floats]:
    """Greatest and least factor·x for x between ends[1] and ends[0]."""
    one, two = factor * ends[0], factor * ends[1]
    return np.maximum(one, two), np.minimum(one, two)

"""Types of numbers, their rounding, and greatest values that readers of files and options accept."""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Number = float | Floats
Vector = Annotated[Floats, 1]
Matrix = Annotated[Floats, 2]
Block = Annotated[Floats, 3]
"""Arrays of one, two and three axes, as compiled kernels take them."""
Integers = Annotated[NDArray[np.int64], 1]
IntegerMatrix = Annotated[NDArray[np.int64], 2]
"""Whole numbers with one axis and two."""


MAX_STAGES = 12
"""Stages of a launcher [-]."""
MAX_SURFACE_SPEED = 3000.0
"""Surface speed [m/s]; above that of any rim: √(strength/density) of the strongest fibre is about 2 km/s."""
MAX_ANGULAR_SPEED = 1e5
"""Angular speed [rad/s], about a million rpm."""
MAX_VOLTAGE = 1e4
"""Voltage of a supply [V]."""
MAX_AIR_TEMPERATURE = 2000.0
"""Temperature of air [K]."""
MAX_THROWS = 10_000
"""Throws of a table, and draws of a fit [-]."""
MAX_DRAWS = 100_000
"""Draws of a plan [-]."""


def rounded(value: float, digits: int, *, upward: bool) -> float:
    """Return a value rounded up or down to `digits` digits; as it is where it is not above 0 or infinite."""
    if not 0 < value < math.inf:
        return value
    unit = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    steps = math.ceil(value / unit * (1 - 1e-12)) if upward else math.floor(value / unit * (1 + 1e-12))
    return float(f"{steps * unit:.{digits}g}")


def hundredths_down(speed: float) -> str:
    """Return a speed [m/s] with two decimals, as wheel speeds to set have them, rounded down."""
    return f"{math.floor(100 * speed * (1 + 1e-12)) / 100:.2f}"

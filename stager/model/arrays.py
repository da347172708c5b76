"""What a number may be: a float or an array over the batch, and the ranges that readers of files and options accept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Number = float | Floats


MOST_STAGES = 12
"""Stages in a row."""
FASTEST = 3000.0
"""Surface speed that no rim survives [m/s]: √(strength/density) of the strongest fibre is some 2 km/s."""
FASTEST_TURNING = 1e5
"""Rate of turning [rad/s], about a million rpm."""
MOST_VOLTS = 1e4
"""Voltage of a supply [V]."""
HOTTEST = 2000.0
"""Temperature of air [K]."""
MOST_THROWS = 10_000
"""Throws of a table, and draws of a fit."""
MOST_DRAWS = 100_000
"""Launchers drawn for a plan."""

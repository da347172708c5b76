"""What a number may be: a float, or an array whose axes are the batch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Number = float | Floats

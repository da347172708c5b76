"""How sure the curve of a stage is: exit speed against wheel speed over an ensemble of launchers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.draws import Ensemble
from stager.fit.statistics.coverage import interval
from stager.fit.tuning import behind
from stager.model.arrays import Floats
from stager.physics.chain import transit
from stager.physics.options import SURE


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """wheel_speed [m/s], (points,); best guess of exit speed there and ends of its 95 % coverage interval [m/s]."""

    wheel_speed: Floats
    nominal: Floats
    low: Floats
    high: Floats


def band(ensemble: Ensemble, index: int, before_a: Floats, before_b: Floats, wheel_speed: Floats) -> Band:
    """Band of stage `index` (from 0) at wheel speeds (points,) behind wheels at before_a, before_b, (index,) [m/s].

    Draws that jam count as 0 m/s.
    """
    speed, spin = behind(ensemble, before_a, before_b)
    exits = transit(
        ensemble.launcher, index, speed, wheel_speed[:, None], entry_spin=spin, options=SURE
    ).exit_speed  # (points, lanes)
    low, high = np.array([interval(row[1:]) for row in exits]).T
    return Band(wheel_speed=wheel_speed, nominal=exits[:, 0], low=low, high=high)

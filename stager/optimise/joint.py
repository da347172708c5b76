"""Chains whose neighbouring stages hold the projectile at once: no map of one stage can tell, all are thrown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.chain_map import ChainMap, ChainRun
from stager.physics.chain import throw
from stager.physics.options import Options
from stager.physics.records import Throw

COARSE = Options(tolerance=1e-5)
REACH = 1.6


class JointChains:
    """Chains in the true model. Settings are shares of somewhat more than the fastest chain of lone stages runs at."""

    samples = 400

    def __init__(self, launcher: Launcher, maps: ChainMap) -> None:
        self.launcher, self.maps, self.feed = launcher, maps, maps.feed
        alone = maps.run(np.ones((1, len(maps.tops)))).wheel_speed[0]
        self.open = np.minimum(REACH * alone, maps.tops)

    def run(self, settings: Floats, grip: Floats | None = None) -> ChainRun:
        """See Chains."""
        wheel = settings * self.open[: settings.shape[1]]
        done = throw(self.launcher, wheel, options=COARSE)
        stages = done.stages
        if self.maps.limit_values.grip_margin:
            through = self._within(stages.entry_speed, stages.entry_spin, wheel, grip)
            return _run(done, ~done.jammed & through)
        return _run(done, ~done.jammed)

    def at(self, wheel_speed: Floats) -> ChainRun:
        """See Chains; wheel speeds [m/s]."""
        done = throw(self.launcher, wheel_speed, options=COARSE)
        return _run(done, ~done.jammed)

    def under(self, limit_values: LimitValues, most: int) -> JointChains:
        """See Chains."""
        return JointChains(self.launcher, self.maps.under(limit_values, most))

    def grips(self, exit_speed: Floats, share: Floats) -> Floats:
        """See Chains; exit speeds [m/s]."""
        return self.maps.grips(exit_speed, share)

    def _within(self, speed: Floats, spin: Floats, wheel: Floats, grip: Floats | None) -> NDArray[np.bool_]:
        """Whether wheels [m/s] keep their margin below the grip limit that each stage alone would have, (lanes,)."""
        kept = np.ones(len(wheel), bool)
        for k in range(wheel.shape[1]):
            entry = np.maximum(speed[:, k], 1e-6)
            chart = self.maps.stage(k)
            anchors = chart.anchors(chart.near(entry, spin[:, k] * self.maps.first.radius / entry))
            factor = 1.0 if grip is None else float(grip[k])
            kept &= wheel[:, k] <= self.maps.open(k, anchors, factor) * (1 + 1e-9)
        return kept


def _run(done: Throw, through: NDArray[np.bool_]) -> ChainRun:
    stages = done.stages
    unknown = np.full(stages.exit_speed.shape, np.nan)
    return ChainRun(
        stages.wheel_speed_a, stages.exit_speed, unknown, stages.slip_heat, stages.peak_acceleration, through
    )

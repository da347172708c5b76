"""One stage more behind a chain that is known, in the true model.

Where peak acceleration holds wheels back, what is allowed to a wheel falls into several ranges: just above the entry
speed a fast wheel may be gentle where a slower one is not. A search on maps from one range need not come to another.
And where wheels may turn no faster than the projectile, all that is left to gain hangs on the last of the slip.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.solve import Task
from stager.optimise.span import span
from stager.physics.chain import throw
from stager.physics.options import Options

SCAN, CLOSER = 161, 41
SLOWEST, SPARE = 0.2, 2e-5
LOOKED, SURE = Options(tolerance=1e-5), Options(tolerance=2e-6)


def extended(scenario: Scenario, before: Floats, task: Task) -> Floats | None:
    """Wheel speeds [m/s] of `before`, shape (stages,), and of a stage more that throws fastest behind them within
    what `task` asks of a throw; None where no speed of it keeps that."""
    launcher = scenario.launcher
    top = float(span(launcher, scenario.limit_values, before.size).top)

    def best(speeds: Floats, options: Options) -> tuple[int, float]:
        done = throw(launcher, _chains(before, speeds), options=options)
        kept = ~done.jammed & (done.exit_speed <= task.cap * (1 - SPARE))
        kept &= done.stages.peak_acceleration[:, -1] <= task.strain * (1 - SPARE)
        kept &= done.stages.slip_heat.sum(axis=-1) <= task.heat * (1 - SPARE)
        value = np.where(kept, done.exit_speed, 0.0)
        place = int(np.argmax(value))
        return place, float(value[place])

    speeds = np.linspace(SLOWEST, 1.0, SCAN) * top
    place, _ = best(speeds, LOOKED)
    close = np.linspace(speeds[max(place - 1, 0)], speeds[min(place + 1, SCAN - 1)], CLOSER)
    place, value = best(close, SURE)
    return _chains(before, close[place : place + 1])[0] if value > 0 else None


def _chains(before: Floats, speeds: Floats) -> Floats:
    return np.column_stack([np.tile(before, (speeds.size, 1)), speeds])

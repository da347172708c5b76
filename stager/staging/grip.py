"""The grip limit of a stage.

The least wheel speed whose exit speed is within 0.1 % of the greatest one in the range, looking up from the first
setting that does not jam: past it more wheel speed only slips. None where exit speed still rises at the end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.physics.chain import transit
from stager.physics.options import QUICK, Options
from stager.staging.zoom import first_above, greatest

NEARLY = 0.999
IDLE = 0.5
STILL_RISING = 1e-4
COARSE, FINE, ROUNDS = 64, 40, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class GripLimit:
    """Shapes (lanes,). wheel_speed [m/s] (NaN: exit speed still rises at the end of the range, or all jam) with the
    exit_speed there [m/s]; peak_speed, peak_exit: the setting of the greatest exit speed [m/s], and it."""

    wheel_speed: Floats
    exit_speed: Floats
    peak_speed: Floats
    peak_exit: Floats


def grip_limit(
    launcher: Launcher,
    index: int,
    entry_speed: Floats,
    entry_spin: Floats,
    top: Floats,
    *,
    rounds: int = ROUNDS,
    options: Options = QUICK,
) -> GripLimit:
    """Grip limit of stage `index` for projectiles entering at `entry_speed` [m/s], `entry_spin` [rad/s].

    All of shape (lanes,), as any arrays in `launcher`; top: end of the range [m/s]; rounds of refinement.
    """

    def exit_at(speeds: Floats) -> Floats:
        return transit(launcher, index, entry_speed, speeds, entry_spin=entry_spin, options=options).exit_speed

    entry_speed, entry_spin, top = np.broadcast_arrays(entry_speed, entry_spin, top)
    # A wheel much slower than the projectile only brakes. Above, the grid is finer near the entry speed.
    low = np.minimum(IDLE * entry_speed, top)
    grid = low + (top - low) * np.linspace(0.0, 1.0, COARSE)[:, None] ** 1.5
    found = exit_at(np.vstack([grid, 0.99 * top]))
    values, near_end = found[:COARSE], found[COARSE:]
    lanes = np.arange(top.size)
    best = np.argmax(values, axis=0)
    low, high = grid[np.maximum(best - 1, 0), lanes], grid[np.minimum(best + 1, COARSE - 1), lanes]
    peak_speed, peak_exit = greatest(exit_at, low, high, points=FINE, rounds=rounds - 1)
    better = values[best, lanes] > peak_exit
    peak_speed = np.where(better, grid[best, lanes], peak_speed)
    peak_exit = np.where(better, values[best, lanes], peak_exit)
    level = NEARLY * peak_exit
    known, at = _with(grid, values, peak_speed, peak_exit)
    speed, exit_speed = first_above(exit_at, level, known, at, points=FINE, rounds=rounds)
    rising = (values[-1] > near_end[0] * (1 + STILL_RISING)) & (peak_speed > 0.97 * top)
    none = rising | (peak_exit <= 0)
    return GripLimit(
        wheel_speed=np.where(none, np.nan, speed), exit_speed=np.where(none, np.nan, exit_speed),
        peak_speed=peak_speed, peak_exit=peak_exit,
    )  # fmt: skip


def _with(grid: Floats, values: Floats, speed: Floats, value: Floats) -> tuple[Floats, Floats]:
    """The curve with the peak put in its place."""
    grid, values = np.vstack([grid, speed]), np.vstack([values, value])
    order = np.argsort(grid, axis=0, kind="stable")
    return np.take_along_axis(grid, order, axis=0), np.take_along_axis(values, order, axis=0)

"""Every draw of a launcher tuned anew, stage by stage, as on a bench."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.constraints.throwing import toy_energy
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.grip import grip_limit
from stager.optimise.span import span
from stager.optimise.way import Way
from stager.optimise.zoom import Looks
from stager.physics.batch import flatten, take
from stager.physics.chain import transit
from stager.physics.guide import run_up
from stager.physics.muzzle import speed_before_outlet
from stager.physics.options import Options

TUNED, LOOKED = Options(tolerance=1e-4), Options(tolerance=3e-4, books=False)
FIRST, LATER = (0.6, 1.55), (0.75, 1.35)
SOME = Looks(2, close=(-0.3, -0.03, 0.0, 0.03, 0.3), crossing=6)
SCAN = np.linspace(0.3, 1.0, 36)


class Bench:
    """Lanes of launchers, tuned for the greatest exit speed under the limits of each stage on its own."""

    def __init__(
        self, launcher: Launcher, limit_values: LimitValues, lanes: int, strain: Floats, near: Floats, way: Way = transit
    ) -> None:
        """strain: greatest acceleration allowed [m/s^2], (lanes,); near: where lane 0 has its grip limits [m/s], or its
        peaks, one a stage; way: how stages are passed."""
        self.way = way
        self.launcher, self.limit_values, self.lanes = flatten(launcher, (lanes,)), limit_values, lanes
        self.near, self.drift = near, np.ones(lanes)
        self.strain = np.broadcast_to(strain, (lanes,))
        self.speed = np.broadcast_to(np.asarray(launcher.feed.speed, dtype=np.float64), (lanes,)).copy()
        self.spin = np.broadcast_to(np.asarray(launcher.feed.spin, dtype=np.float64), (lanes,)).copy()
        self.wheel_speed: list[Floats] = []
        self.exit_speed = [self.speed.copy()]

    def add(self, needed: NDArray[np.bool_]) -> None:
        """Tune one more stage for the lanes where it is `needed`; elsewhere nothing changes."""
        index = len(self.wheel_speed)
        who = np.flatnonzero(needed & (self.speed > 0))
        wheel = np.full(self.lanes, np.nan)
        if who.size:
            here = take(self.launcher, who)
            speed = run_up(here, index, self.speed[who], np.ones(1))
            best, self.drift[who] = self._limit(here, index, speed, self.spin[who], self.drift[who])
            tuned = self._tune(here, index, speed, self.spin[who], self.strain[who], best)
            wheel[who], self.speed[who], self.spin[who] = tuned
        self.wheel_speed.append(wheel)
        self.exit_speed.append(self.speed.copy())

    def _limit(self, here: Launcher, index: int, speed: Floats, spin: Floats, drift: Floats) -> tuple[Floats, Floats]:
        """Greatest wheel speed worth a look [m/s], and how far it lies from lane 0's, as a factor."""
        top = np.broadcast_to(span(here, self.limit_values, index).top, speed.shape)
        around = FIRST if index == 0 else LATER
        found = grip_limit(
            here, index, speed, spin, top, near=self.near[index] * drift, around=around, looks=SOME,
            options=LOOKED, way=self.way,
        )  # fmt: skip
        margin = self.limit_values.grip_margin
        at = np.where(np.isnan(found.wheel_speed), top, found.wheel_speed)
        limited = np.where(np.isnan(found.wheel_speed), top, (1 - margin) * at) if margin else found.peak_speed
        return limited, at / self.near[index]

    def _tune(
        self, here: Launcher, index: int, speed: Floats, spin: Floats, strain: Floats, chosen: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Wheel speed, exit speed [m/s] and spin [rad/s] of each lane, no faster than `chosen` [m/s]."""
        done = self.way(here, index, speed, chosen, entry_spin=spin, options=TUNED)
        exit_speed, exit_spin = done.exit_speed.copy(), done.exit_spin.copy()
        hard = np.flatnonzero((done.peak_acceleration > strain) & ~done.jammed)
        if hard.size:
            chosen = chosen.copy()
            chosen[hard] = self._gently(take(here, hard), index, speed[hard], spin[hard], strain[hard], chosen[hard])
            again = self.way(take(here, hard), index, speed[hard], chosen[hard], entry_spin=spin[hard], options=TUNED)
            exit_speed[hard], exit_spin[hard] = again.exit_speed, again.exit_spin
        return chosen, exit_speed, exit_spin

    def _gently(self, here: Launcher, index: int, speed: Floats, spin: Floats, strain: Floats, high: Floats) -> Floats:
        """The fastest settings up to `high` [m/s] that do not strain the projectile, (lanes,)."""
        lanes, low = np.arange(speed.size), 0.3 * high
        place = high
        for _ in range(2):
            grid = low + (high - low) * np.linspace(0.0, 1.0, SCAN.size)[:, None]
            done = self.way(here, index, speed, grid, entry_spin=spin, options=TUNED)
            value = np.where(done.jammed | (done.peak_acceleration > strain), -1.0, done.exit_speed)
            best = np.argmax(value, axis=0)
            place = grid[best, lanes]
            low, high = grid[np.maximum(best - 1, 0), lanes], grid[np.minimum(best + 1, SCAN.size - 1), lanes]
        return place


def own_cap(launcher: Launcher, limit_values: LimitValues, lanes: int, goal: float) -> Floats:
    """Exit speed beyond which no lane is asked to go [m/s], (lanes,); goal: asked for of all [m/s]."""
    projectile = launcher.projectile
    energy = np.broadcast_to(np.asarray(limit_values.exit_energy, dtype=np.float64), (lanes,))
    if limit_values.energy_per_area is not None:
        energy = np.minimum(energy, limit_values.energy_per_area * np.asarray(projectile.frontal_area))
    if limit_values.toy is not None:
        energy = np.minimum(energy, toy_energy(limit_values.toy, projectile))
    speed = np.sqrt(2 * energy / np.asarray(projectile.mass))
    if limit_values.exit_speed is not None:
        speed = np.minimum(speed, limit_values.exit_speed)
    return np.asarray(np.minimum(speed_before_outlet(launcher, speed), goal))

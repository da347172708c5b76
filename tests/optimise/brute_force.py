"""Brute force: every combination of wheel speeds on a grid, then finer grids around the best one."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import PchipInterpolator

from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.physics.chain import Options, throw, transit

OPTIONS = Options(tolerance=1e-5)


def grip_table(machine: Launcher, index: int, top: float, speeds: Floats, turns: float) -> Floats:
    """Return grip limits by their definition on a grid of wheel speeds; inf where exit speed rises to the end."""
    wheel = np.linspace(0.01, 1.0, 1500) * top
    spin = turns * speeds / float(machine.projectile.radius)
    exits = transit(machine, index, speeds, wheel[:, None], entry_spin=spin, options=OPTIONS).exit_speed
    columns = np.arange(speeds.size)
    peak = np.argmax(exits, axis=0)
    # A wheel below half the projectile's speed only brakes, so it is excluded.
    traded = np.where(wheel[:, None] < 0.5 * speeds, 0.0, exits * (wheel[:, None] / wheel[peak]) ** -0.1)
    best = np.argmax(traded, axis=0)
    better = traded[best, columns] > 1.001 * exits[peak, columns]
    level = 0.999 * exits[np.where(better, best, peak), columns]
    first = np.maximum(np.argmax(exits >= level, axis=0), 1)
    below, above = exits[first - 1, columns], exits[first, columns]
    crossing = wheel[first - 1] + (wheel[first] - wheel[first - 1]) * (level - below) / np.maximum(above - below, 1e-12)
    return np.where(~better & (exits[-1] > exits[-18] * 1.0001), np.inf, crossing)


def fastest(task: Scenario, count: int, top: float, *, grid: int = 22, zooms: int = 4) -> tuple[float, Floats]:
    """Return the greatest exit speed [m/s] of `count` stages within the limits, and its wheel speeds [m/s]."""
    machine, margin = task.launcher, task.limit_values.grip_margin
    speeds = np.geomspace(0.5, 1.2 * top, 16)
    grips: list[Floats] = []
    for k in range(count if margin else 0):
        turns = float(k > 0 and machine.stage(k).layout.name != "pair")
        same = k > 0 and turns == 0.0 and machine.stage(k) == machine.stage(0)
        grips.append(grips[0] if same else grip_table(machine, k, 1.1 * top / (1 - margin), speeds, turns))
    axes = [np.linspace(0.05, 1.0, grid) * top] * count
    width = axes[0][1] - axes[0][0]
    best, speed = np.full(count, top / 2), 0.0
    for _ in range(zooms + 1):
        chains = np.stack([axis.ravel() for axis in np.meshgrid(*axes)], axis=-1)
        done = throw(machine, chains, options=OPTIONS)
        kept = _kept(task, done.exit_speed, done.stages.slip_heat.sum(-1), done.stages.peak_acceleration.max(-1))
        for k, table in enumerate(grips):
            kept &= chains[:, k] <= (1 - margin) * _smooth(speeds, table, done.stages.entry_speed[:, k])
        value = np.where(kept & ~done.jammed, done.exit_speed, -1.0)
        if value.max() > speed:
            best, speed = chains[int(np.argmax(value))], float(value.max())
        axes = [np.clip(np.linspace(-1.2, 1.2, max(grid // count, 9)) * width + at, 0.05, top) for at in best]
        width *= 2.4 / (max(grid // count, 9) - 1)
    return speed, best


def _smooth(speeds: Floats, grips: Floats, at: Floats) -> Floats:
    """Interpolate the table of grip limits; inf next to an infinite entry."""
    finite = np.isfinite(grips)
    if not finite.any():
        return np.full(at.shape, np.inf)
    rough = np.interp(at, speeds, np.where(finite, grips, np.inf))
    curve = PchipInterpolator(np.log(speeds[finite]), grips[finite], extrapolate=True)
    return np.where(np.isfinite(rough), curve(np.log(np.maximum(at, speeds[0]))), np.inf)


def _kept(task: Scenario, speed: Floats, heat: Floats, peak: Floats) -> Floats:
    allowed, projectile = task.limit_values, task.launcher.projectile
    energy = 0.5 * projectile.mass * speed**2
    kept = energy <= allowed.exit_energy
    for value, limit in ((speed, allowed.exit_speed), (heat, allowed.slip_heat), (peak, allowed.acceleration)):
        kept = kept & (True if limit is None else value <= limit)
    if allowed.energy_per_area is not None:
        kept = kept & (energy / projectile.frontal_area <= allowed.energy_per_area)
    return kept

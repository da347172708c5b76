"""Brute force over both wheel speeds of a stage at a given spin: a grid of A and B, interpolated along B."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.chain import Options, transit

OPTIONS = Options(tolerance=1e-5)


def fastest_pair(
    machine: Launcher, index: int, entry: tuple[float, float], spin: float, top: float, *, grid: int = 32,
    zooms: int = 3,
) -> float:  # fmt: skip
    """Return the greatest exit speed [m/s] of a stage whose projectile leaves with `spin` [rad/s]; 0 if none does.

    entry : speed [m/s] and spin [rad/s]
    top : highest speed of both wheels [m/s]
    """
    low, high, best = np.zeros(2), np.full(2, top), 0.0
    for _ in range(zooms):
        side_a, side_b = np.meshgrid(*np.linspace(low, high, grid).T, indexing="ij")
        done = transit(machine, index, entry[0], side_a, side_b, entry_spin=entry[1], options=OPTIONS)
        exits, share = _where(done.exit_spin - spin, done.exit_speed)
        row, column = np.unravel_index(int(np.argmax(exits)), exits.shape)
        if exits[row, column] <= best:
            break
        best, step = float(exits[row, column]), (high - low) / (grid - 1)
        here = np.array([side_a[row, 0], side_b[0, column] + share[row, column] * step[1]])
        low, high = np.maximum(here - 3 * step, 0.0), np.minimum(here + 3 * step, top)
    return best


def _where(excess: Floats, exits: Floats) -> tuple[Floats, Floats]:
    """Interpolate exit speeds to `excess` 0 within each row (0 without a crossing); also return the place."""
    left, right = excess[:, :-1], excess[:, 1:]
    crosses = (left * right <= 0) & (left != right) & (exits[:, :-1] > 0) & (exits[:, 1:] > 0)
    share = np.where(crosses, left / np.where(crosses, left - right, 1.0), 0.0)
    return np.where(crosses, (1 - share) * exits[:, :-1] + share * exits[:, 1:], 0.0), share

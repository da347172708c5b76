"""The best wheel speeds where neighbouring stages hold the projectile at once: all speeds are searched together."""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.physics.chain import throw
from stager.physics.options import Options
from stager.staging.span import span
from stager.staging.stage import Chooser

COARSE = Options(tolerance=1e-4)
GRID, SWEEPS, SHRINK = 24, 7, 0.45


class JointSearch:
    """Pattern search over the whole chain: each added stage starts from the best shorter chain."""

    def __init__(self, scenario: Scenario) -> None:
        self.launcher, self.allowances = scenario.launcher, scenario.allowances
        self.bearable = Chooser(self.launcher, self.allowances).bearable
        self._known: dict[int, Floats | None] = {}

    def fastest(self, count: int) -> Floats | None:
        """See Search."""
        if count not in self._known:
            self._known[count] = self._search(count, np.inf, np.inf)
        return self._known[count]

    def reaching(self, count: int, target: float) -> Floats | None:
        """See Search."""
        return self._search(count, target, np.inf)

    def within_heat(self, count: int, heat: float, cap: float) -> Floats | None:
        """See Search."""
        return self._search(count, cap, heat)

    def _search(self, count: int, cap: float, heat: float) -> Floats | None:
        tops = np.array([float(span(self.launcher, self.allowances, k).top) for k in range(count)])
        shorter = self.fastest(count - 1) if count > 1 else np.zeros(0)
        if shorter is None:
            return None
        last = np.geomspace(0.02, 1.0, 2 * GRID) * tops[-1]
        start = np.column_stack([np.tile(shorter, (last.size, 1)), last])
        even = np.geomspace(0.02, 1.0, 2 * GRID)[:, None] * tops
        candidates = np.vstack([start, even])
        value = self._value(candidates, cap, heat)
        best, most = candidates[np.argmax(value)], float(np.max(value))
        step = 0.15
        for _ in range(SWEEPS):
            candidates = np.minimum(self._around(best, step), tops)
            value = self._value(candidates, cap, heat)
            if np.max(value) > most:
                best, most = candidates[np.argmax(value)], float(np.max(value))
            step *= SHRINK if np.max(value) <= most else 1.0
            step *= SHRINK
        return best if most > 0 else None

    @staticmethod
    def _around(best: Floats, step: float) -> Floats:
        """Each speed alone, all from some stage on together, and pairs against each other, by several shares."""
        count = best.size
        shares = step * np.array([-1.0, -0.6, -0.3, -0.1, 0.1, 0.3, 0.6, 1.0])
        directions = list(np.eye(count))
        directions += [np.where(np.arange(count) >= k, 1.0, 0.0) for k in range(count)]
        directions += [
            a - b for i, a in enumerate(np.eye(count)) for j, b in enumerate(np.eye(count)) if abs(i - j) == 1
        ]
        rows = [best * (1 + share * direction) for direction in directions for share in shares]
        return np.vstack([best, *rows])

    def _value(self, candidates: Floats, cap: float, heat: float) -> Floats:
        """Exit speed [m/s] of allowed candidates, 0 of others; near the cap less heat is worth a little."""
        done = throw(self.launcher, candidates, options=COARSE)
        warmth = done.stages.slip_heat.sum(axis=-1)
        fine = ~done.jammed & (warmth <= heat) & (done.exit_speed <= cap)
        if self.bearable is not None:
            fine &= done.stages.peak_acceleration.max(axis=-1) <= self.bearable
        reward = np.where(done.exit_speed > 0.999 * cap, 1e-4 / (1 + warmth), 0.0) if np.isfinite(cap) else 0.0
        return np.where(fine, done.exit_speed * (1 + reward), 0.0)

"""Chains run up freely: each stage at its own best, with nothing that stages share in the way."""

from __future__ import annotations

import numpy as np

from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.stage import Stage
from stager.optimise.grip import FAIRLY, grip_limit
from stager.optimise.span import span
from stager.optimise.spun import way_of
from stager.physics.layout import overlapping
from stager.physics.options import QUICK

Entry = tuple[float, float]
"""Speed [m/s] and spin [rad/s] into a stage."""


class Runner:
    """Runs stages up and remembers what each made of an entry."""

    def __init__(self, limit_values: LimitValues, spin: float | None = None) -> None:
        """spin: that is asked for [rad/s]."""
        self.limit_values, self.spin = limit_values, spin
        self._known: dict[tuple[Stage, Entry], Entry] = {}

    def leave(self, launcher: Launcher, index: int, entry: Entry) -> Entry:
        """Out of stage `index` at its grip limit less the margin, or, without a margin, at its peak."""
        key = launcher.stage(index), entry
        if key not in self._known:
            self._known[key] = self._leave(launcher, index, *entry)
        return self._known[key]

    def _leave(self, launcher: Launcher, index: int, speed: float, spin: float) -> Entry:
        at, turning = np.array([speed]), np.array([spin])
        top = np.atleast_1d(span(launcher, self.limit_values, index).top)
        way = way_of(launcher, self.limit_values, self.spin)
        found = grip_limit(launcher, index, at, turning, top, looks=FAIRLY, way=way)
        margin = self.limit_values.grip_margin
        free = np.where(np.isnan(found.wheel_speed), top, (1 - margin) * found.wheel_speed)
        wheel = free if margin else found.peak_speed
        done = way(launcher, index, at, wheel, entry_spin=turning, options=QUICK)
        return float(done.exit_speed[0]), float(done.exit_spin[0])

    def exits(self, launcher: Launcher, most: int, enough: float) -> list[float]:
        """Exit speeds [m/s] of 0, 1, … `most` stages, as far as something gets through and until `enough` [m/s].

        Infinite from the first stage on where neighbours act at once: then stages cannot be taken one by one.
        """
        entry = float(launcher.feed.speed), float(launcher.feed.spin)
        found = [entry[0]]
        if most > 1 and overlapping(launcher, most, np.atleast_1d(span(launcher, self.limit_values, 0).top)):
            return [entry[0], *[np.inf] * most]
        for index in range(most):
            entry = self.leave(launcher, index, entry)
            if entry[0] <= 0 or found[-1] >= enough:
                break
            found.append(entry[0])
        return found

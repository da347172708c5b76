"""The speed of one wheel beside the other with which a stage gives a certain spin."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.batch import take
from stager.physics.chain import transit
from stager.physics.options import Options
from stager.physics.records import Grip, Transit

FOUND, BESIDE_JAM, TRIES, HALF = 1e-6, 2e-4, 40, 0.5
ROUGHLY = 5e-3
"""How near a spin must come to be the one looked for [-]."""
TURNED = 1.03
"""Wheels that grip lie about so much farther apart than 2rΩ: the contact tilts."""


@dataclass(frozen=True, slots=True)
class Making:
    """Lanes of stage `index` that shall leave with `spin` [rad/s], more than they enter with, `before`; entry and
    leading wheel [m/s]. Arrays are flat, (lanes,), the launcher's too."""

    launcher: Launcher
    index: int
    entry: Floats
    lead: Floats
    before: Floats
    spin: Floats
    options: Options

    @property
    def twice(self) -> Making:
        """The lanes, then the lanes again."""
        entry, lead, before, spin = (np.tile(values, 2) for values in (self.entry, self.lead, self.before, self.spin))
        launcher = take(self.launcher, np.tile(np.arange(self.lead.size), 2))
        return Making(launcher, self.index, entry, lead, before, spin, self.options)

    def run(self, other: Floats) -> Transit:
        """Transits with the other wheel at `other` [m/s], jammed where they miss the spin."""
        done = self._transit(np.arange(other.size), other)
        missed = np.abs(done.exit_spin / self.spin - 1.0) > ROUGHLY
        jam, none = np.int8(Grip.JAM), np.zeros_like(done.exit_speed)
        return replace(
            done, grip=np.where(missed, jam, done.grip), exit_speed=np.where(missed, none, done.exit_speed)
        )  # fmt: skip

    def other(self, much: Floats, little: Floats, guess: Floats) -> Floats:
        """The other wheel's speed [m/s] between `much`, where it turns more or jams, and `little`, where it turns less;
        `guess` lies between them. What is found elsewhere misses the spin.

        False position, the end that stays counting half (Illinois; Dowell and Jarratt 1971, from memory).
        """
        far, near, at = much.copy(), little.copy(), guess.copy()
        over, under = np.ones_like(far), self.before / self.spin - 1.0
        step = np.zeros_like(far)
        moved, who = np.zeros(far.shape, np.int8), np.arange(far.size)
        enough = max(FOUND, self.options.tolerance)
        for _ in range(TRIES):
            done = self._transit(who, at[who])
            excess = np.where(done.jammed, 1.0, done.exit_spin / self.spin[who] - 1.0)
            up = excess > 0
            far[who], near[who] = np.where(up, at[who], far[who]), np.where(up, near[who], at[who])
            side = np.where(up, np.int8(1), np.int8(-1))
            stays = np.where(side == moved[who], 0.5, 1.0)
            over[who] = np.where(up, excess, stays * over[who])
            under[who] = np.where(up, stays * under[who], excess)
            moved[who] = side
            # Until the far end is known: that end itself; halves while it jams.
            step[who] = np.where(up, np.where(done.jammed, HALF, np.nan), step[who])
            wide = np.abs(far[who] - near[who]) > np.where(step[who] == HALF, BESIDE_JAM, FOUND) * self.lead[who]
            who = who[(np.abs(excess) > enough) & wide]
            if who.size == 0:
                break
            share = np.where(np.isnan(step[who]), over[who] / (over[who] - under[who]), step[who])
            at[who] = far[who] + share * (near[who] - far[who])
        return at

    def _transit(self, who: NDArray[np.intp], other: Floats) -> Transit:
        here, spin = take(self.launcher, who), self.before[who]
        return transit(
            here, self.index, self.entry[who], self.lead[who], other, entry_spin=spin, options=self.options
        )  # fmt: skip

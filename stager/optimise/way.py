"""How a projectile passes a stage: with its wheels alike, or apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.physics.chain import transit
from stager.physics.options import DEFAULT, Options
from stager.physics.records import Transit


class Way(Protocol):
    """A projectile's way through one stage, the leading wheel at `wheel_speed`; as `physics.chain.transit`."""

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """Speeds [m/s], spin [rad/s]; the leading wheel is the transit's side A."""
        ...


@dataclass(frozen=True, slots=True)
class Apart:
    """The other wheel runs slower by `gap` [m/s], a float or an array over the lanes."""

    gap: Number

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See Way."""
        other = np.maximum(wheel_speed - np.asarray(self.gap), 0.0)
        return transit(launcher, index, entry_speed, wheel_speed, other, entry_spin=entry_spin, options=options)

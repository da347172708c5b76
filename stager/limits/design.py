"""What a limit looks at."""

from __future__ import annotations

from dataclasses import dataclass

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.hardware.wish import Allowances
from stager.physics.records import Throw


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A launcher with its stages set, and a throw through them; batch axes lead, stages are last.

    grip_limit: grip limit of each stage at its own entry speed [m/s], shape (..., stages); NaN where exit speed
    still rises at the end of the range; None where it was not asked for.
    """

    launcher: Launcher
    allowances: Allowances
    throw: Throw
    grip_limit: Floats | None = None

    @property
    def count(self) -> int:
        """Number of stages."""
        return int(self.throw.stages.grip.shape[-1])

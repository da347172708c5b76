"""What limits are evaluated at: a launcher with its stages set and a throw through them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.chain import DEFAULT, Options
from stager.physics.drive.motor import Drivetrain, build_drivetrain
from stager.physics.drive.supply import Holding, hold
from stager.physics.heat import Windings, windings
from stager.physics.muzzle import outlet_speed
from stager.physics.rate import Settled, settled
from stager.physics.records import Throw


@dataclass(frozen=True, kw_only=True)
class OperatingPoint:
    """A launcher with its stages set, and a throw through them; batch axes lead, stages are last.

    grip_limit: grip limit of each stage at its own entry speed [m/s], shape (..., stages); NaN where exit speed
    still rises at the end of the speed range; None where it was not computed.
    options: how throws at a rate are integrated.
    States of drives, supply and windings are computed at first use and kept.
    """

    launcher: Launcher
    limit_values: LimitValues
    throw: Throw
    grip_limit: Floats | None = None
    options: Options = DEFAULT

    @property
    def count(self) -> int:
        """Number of stages."""
        return int(self.throw.stages.grip.shape[-1])

    @property
    def batched(self) -> bool:
        """Whether there are batch axes."""
        return bool(np.ndim(self.throw.exit_speed))

    @cached_property
    def outlet_speed(self) -> Floats:
        """Speed behind the outlet, or behind the last wheel without one [m/s]; 0 where the projectile stops in it."""
        return np.asarray(outlet_speed(self.launcher, self.throw.exit_speed))

    @cached_property
    def set_speeds(self) -> tuple[Floats, Floats | None]:
        """Set surface speeds of sides A and B [m/s], each (..., stages); B None where every pair runs at one speed."""
        stages = self.throw.stages
        pairs = [k for k in range(self.count) if self.launcher.stage(k).layout.side_b_driven]
        same = np.array_equal(stages.wheel_speed_a[..., pairs], stages.wheel_speed_b[..., pairs])
        return stages.wheel_speed_a, None if same else stages.wheel_speed_b

    @cached_property
    def fastest(self) -> Floats:
        """Speed of the faster wheel of each stage [m/s], shape (..., stages)."""
        return np.maximum(self.throw.stages.wheel_speed_a, self.throw.stages.wheel_speed_b)

    @cached_property
    def leading(self) -> Floats:
        """Speed of each stage's leading wheel [m/s], shape (..., stages): the faster of a pair, else side A's."""
        stages, pairs = self.throw.stages, [self.launcher.stage(k).layout.side_b_driven for k in range(self.count)]
        return np.where(stages.a_leads | ~np.array(pairs, bool), stages.wheel_speed_a, stages.wheel_speed_b)

    @cached_property
    def train(self) -> Drivetrain | None:
        """The driven wheels of all stages; None where a stage has no drive, or without supply."""
        if self.launcher.supply is None:
            return None
        return build_drivetrain(self.launcher, self.count, split=self.set_speeds[1] is not None)

    @cached_property
    def holding(self) -> Holding | None:
        """Currents and voltages that hold the wheels at their set speeds; None without drives or supply."""
        if self.train is None or self.launcher.supply is None:
            return None
        speed, speed_b = self.set_speeds
        columns = self.train.columns(speed, speed if speed_b is None else speed_b)
        return hold(self.train, columns / self.train.radius, self.launcher.supply)

    @cached_property
    def settled(self) -> Settled | None:
        """Steady throwing at the feed's rate; None without rate, drives or supply."""
        rate = self.launcher.feed.rate
        if rate is None or self.holding is None:
            return None
        return settled(self.launcher, rate, *self.set_speeds, first=self.throw, options=self.options)

    @cached_property
    def windings(self) -> Windings | None:
        """Windings at the feed's rate, or with the wheels held where it has none; None without thermal data."""
        if self.train is None or self.holding is None:
            return None
        return windings(self.launcher, self.train, self.holding, self.settled)

"""One cycle of throwing, the throw and the recovery until the next; and a sequence of cycles."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Supply
from stager.model.launcher import Launcher
from stager.physics.chain import DEFAULT, Options, throw
from stager.physics.drive.motor import Drivetrain, build_drivetrain
from stager.physics.drive.supply import Holding, hold
from stager.physics.drive.transient import MotorEnergies, transient
from stager.physics.records import Throw


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """Throws of a launcher at regular intervals.

    train: driven wheels; holding: drives at the set speeds
    interval: from throw to throw [s]; contact: the part of it that the throw takes [s]
    split: whether pairs run two speeds
    """

    launcher: Launcher
    supply: Supply
    train: Drivetrain
    holding: Holding
    interval: Number
    contact: Number
    stages: int
    split: bool

    @property
    def target(self) -> Floats:
        """Return the set angular speeds [rad/s], shape (..., wheels)."""
        return self.holding.angular_speed

    def throw(self, angular_speed: Floats, options: Options = DEFAULT) -> Throw:
        """Return a throw with the wheels at `angular_speed` [rad/s], shape (..., wheels).

        Throttles are those that hold the set speeds: a governor is too slow to act during a contact.
        """
        side_a, side_b = self.by_side(angular_speed * self.train.radius)
        held_a, held_b = self.by_side(self.target * self.train.radius)
        if not self.split:
            return throw(self.launcher, side_a, held_speed=held_a, options=options)
        return throw(self.launcher, side_a, side_b, held_speed=held_a, held_speed_b=held_b, options=options)

    def after(self, done: Throw) -> Floats:
        """Return the angular speeds of the wheels after a throw [rad/s], shape (..., wheels)."""
        stages = done.stages
        return self.train.columns(stages.wheel_speed_after_a, stages.wheel_speed_after_b) / self.train.radius

    @property
    def rest(self) -> Floats:
        """Return the time for recovery between throws [s], shape (...)."""
        return np.maximum(self.interval - np.asarray(self.contact), 0.0)

    def recover(self, after: Floats, *, tolerance: float = 1e-8) -> Floats:
        """Return the angular speeds at the next throw [rad/s], from those after a throw [rad/s]."""
        return transient(
            self.train, self.holding, self.supply, after, self.rest, tolerance=tolerance, energies=False
        )[0]

    def recover_with_energies(self, after: Floats, *, tolerance: float = 1e-9) -> tuple[Floats, MotorEnergies]:
        """Return the angular speeds at the next throw [rad/s], and the energies of the recovery, from `after`."""
        ended, energies = transient(self.train, self.holding, self.supply, after, self.rest, tolerance=tolerance)
        if energies is None:
            raise ValueError("no energies were summed")
        return ended, energies

    def by_side(self, values: Floats) -> tuple[Floats, Floats]:
        """Return columns (..., wheels) as sides A and B of each stage, (..., stages); B as A where it has no column."""
        columns = list(zip(self.train.stage, self.train.side, strict=True))
        first = [columns.index((stage, 0)) for stage in range(self.stages)]
        second = [columns.index((stage, 1)) if (stage, 1) in columns else first[stage] for stage in range(self.stages)]
        return values[..., first], values[..., second]

    def at(self, interval: Number) -> Cycle:
        """Return the cycle at another interval between throws [s]."""
        return replace(self, interval=interval)


def build_cycle(
    launcher: Launcher, interval: Number, contact: Number, wheel_speed: Floats, wheel_speed_b: Floats | None = None
) -> Cycle | None:
    """Return the cycle of throws every `interval` [s] at set surface speeds [m/s], shape (..., stages).

    contact: the longest contact of the first throw, taken off the time for recovery [s]; wheel_speed_b: None: as A.
    None where a stage has no drive or the launcher no supply.
    """
    speeds = np.asarray(wheel_speed, dtype=np.float64)
    split = wheel_speed_b is not None
    stages = speeds.shape[-1]
    train = build_drivetrain(launcher, stages, split=split)
    if train is None or launcher.supply is None:
        return None
    side_b = speeds if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
    target = train.columns(speeds, side_b) / train.radius
    return Cycle(
        launcher=launcher, supply=launcher.supply, train=train, holding=hold(train, target, launcher.supply),
        interval=interval, contact=contact, stages=stages, split=split,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """Throws one after the other.

    exit_speed: of each throw [m/s], (throws, ...)
    missing: share of its set speed that each wheel lacks at its start [-], (throws, ..., wheels), columns as in `Cycle`
    """

    exit_speed: Floats
    missing: Floats


def sequence(cycle: Cycle, throws: int) -> Sequence:
    """Return the first `throws` throws from the set speeds on."""
    speed = cycle.target
    exits, missing = [], []
    for _ in range(throws):
        done = cycle.throw(speed)
        exits.append(done.exit_speed)
        missing.append(1 - speed / cycle.target)
        speed = cycle.recover(cycle.after(done))
    return Sequence(exit_speed=np.stack(exits), missing=np.stack(missing))

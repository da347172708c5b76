"""One cycle of throwing, the throw and the recovery until the next; and cycles one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.model.launcher import Launcher
from stager.physics.chain import DEFAULT, Options, throw
from stager.physics.drive.motor import Train, build_train
from stager.physics.drive.supply import Holding, hold
from stager.physics.drive.transient import Ledger, transient
from stager.physics.records import Throw


@dataclass(frozen=True, slots=True, kw_only=True)
class Rhythm:
    """A launcher thrown at intervals.

    train: its driven wheels; holding: at their set speeds;
    interval between throws [s]; contact: the part of it that is the throw's [s]; split: whether pairs run two speeds.
    """

    launcher: Launcher
    supply: Supply
    train: Train
    holding: Holding
    interval: Number
    contact: Number
    stages: int
    split: bool

    @property
    def target(self) -> Floats:
        """Set angular speeds [rad/s], shape (..., wheels)."""
        return self.holding.angular_speed

    def throw(self, angular_speed: Floats, options: Options = DEFAULT) -> Throw:
        """Return a throw from wheels at `angular_speed` [rad/s], shape (..., wheels), on their way to the set speeds.

        All throttles act as if they held the set speeds: a governor does not answer within the few ms of a contact.
        """
        side_a, side_b = self.by_side(angular_speed * self.train.radius)
        held_a, held_b = self.by_side(self.target * self.train.radius)
        if not self.split:
            return throw(self.launcher, side_a, held_speed=held_a, options=options)
        return throw(self.launcher, side_a, side_b, held_speed=held_a, held_speed_b=held_b, options=options)

    def after(self, done: Throw) -> Floats:
        """Return the angular speeds that a throw leaves [rad/s], shape (..., wheels)."""
        stages = done.stages
        return self.train.columns(stages.wheel_speed_after_a, stages.wheel_speed_after_b) / self.train.radius

    @property
    def rest(self) -> Floats:
        """Time for recovery between throws [s], shape (...)."""
        return np.maximum(self.interval - np.asarray(self.contact), 0.0)

    def recover(self, after: Floats, *, tolerance: float = 1e-8) -> Floats:
        """Return the angular speeds when the next throw comes [rad/s], from `after` [rad/s]."""
        return transient(self.train, self.holding, self.supply, after, self.rest, tolerance=tolerance, books=False)[0]

    def recover_with_books(self, after: Floats, *, tolerance: float = 1e-9) -> tuple[Floats, Ledger]:
        """As `recover`, from `after` [rad/s], with the recovery's books."""
        ended, books = transient(self.train, self.holding, self.supply, after, self.rest, tolerance=tolerance)
        if books is None:
            raise ValueError("no energies were kept")
        return ended, books

    def by_side(self, values: Floats) -> tuple[Floats, Floats]:
        """Columns (..., wheels) as sides A and B of each stage, (..., stages); B as A where it has no column."""
        columns = list(zip(self.train.stage, self.train.side, strict=True))
        first = [columns.index((stage, 0)) for stage in range(self.stages)]
        second = [columns.index((stage, 1)) if (stage, 1) in columns else first[stage] for stage in range(self.stages)]
        return values[..., first], values[..., second]

    def at(self, interval: Number) -> Rhythm:
        """Return the same at another interval between throws [s]."""
        return replace(self, interval=interval)


def build_rhythm(
    launcher: Launcher, interval: Number, contact: Number, wheel_speed: Floats, wheel_speed_b: Floats | None = None
) -> Rhythm | None:
    """Throws every `interval` [s] from set surface speeds [m/s], shape (..., stages), side B's where they differ.

    contact: the longest contact of the first throw [s], which is no time for recovery.
    None where a stage has no drive or the launcher no supply: its wheels do not come back by themselves.
    """
    speeds = np.asarray(wheel_speed, dtype=np.float64)
    split = wheel_speed_b is not None
    stages = speeds.shape[-1]
    train = build_train(launcher, stages, split=split)
    if train is None or launcher.supply is None:
        return None
    side_b = speeds if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
    target = train.columns(speeds, side_b) / train.radius
    return Rhythm(
        launcher=launcher, supply=launcher.supply, train=train, holding=hold(train, target, launcher.supply),
        interval=interval, contact=contact, stages=stages, split=split,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """exit_speed of each throw [m/s], (throws, ...); missing: share of its set speed that each wheel lacks when it
    begins [-], (throws, ..., wheels) in the rhythm's columns."""

    exit_speed: Floats
    missing: Floats


def sequence(rhythm: Rhythm, throws: int) -> Sequence:
    """Return the first `throws` throws of a rhythm, each from where the recovery before it ended."""
    speed = rhythm.target
    exits, missing = [], []
    for _ in range(throws):
        done = rhythm.throw(speed)
        exits.append(done.exit_speed)
        missing.append(1 - speed / rhythm.target)
        speed = rhythm.recover(rhythm.after(done))
    return Sequence(exit_speed=np.stack(exits), missing=np.stack(missing))

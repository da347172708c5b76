"""What of a throw cannot be, or hardly: faster than its wheels allow, wheels faster than their motors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.speed_limits import motor_ceiling, reach_ceiling

TRUST = 0.03
"""Share by which instruments may be off before a throw is doubted [-]; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """What is wrong with a throw; speeds in m/s.

    most: exit speed that its wheels allow at most, where it is faster (None: it is not); beyond: stages (from 1) whose
    wheels are faster than their motors reach, each with what it reaches.
    """

    most: float | None
    beyond: tuple[tuple[int, float], ...]

    def __bool__(self) -> bool:
        """Whether there is any doubt."""
        return self.most is not None or bool(self.beyond)


def doubts(launcher: Launcher, wheel_speed: dict[int, float], exit_speed: float) -> Doubts:
    """Return what cannot be of a throw with wheels at `wheel_speed` by stage (from 0) that leaves at `exit_speed`.

    Speeds in [m/s]. A projectile that grips a wheel goes as fast as its surface along the tangent, so by the tilt of
    the contact a little faster along the barrel: v cos φ = u.
    """
    most = max([u * tilt(launcher, launcher.stage(k)) for k, u in wheel_speed.items()], default=np.inf)
    most = max(most, float(np.max(launcher.feed.speed)))
    beyond = []
    for k, speed in wheel_speed.items():
        stage = launcher.stage(k)
        reached = min(float(np.max(ceiling(launcher, stage))) for ceiling in (motor_ceiling, reach_ceiling))
        if speed > (1 + TRUST) * reached:
            beyond.append((k + 1, reached))
    return Doubts(most=most if exit_speed > (1 + TRUST) * most else None, beyond=tuple(beyond))


def tilt(launcher: Launcher, stage: Stage) -> float:
    """Return 1/cos φ where a projectile comes into contact [-]: how much faster than the wheel it may go."""
    if not launcher.projectile.shape.rolls:
        return 1.0
    reach = stage.wheel.radius + launcher.projectile.radius
    return float(np.max(reach / (reach - stage.layout.crush_share * stage.crush)))

"""Whether the wheels of neighbouring stages have room beside each other."""

from __future__ import annotations

from stager.model.launcher import Launcher
from stager.physics.layout import pitch
from stager.report.digits import digits

_ROUNDING = 1e-9


def notes(launcher: Launcher, count: int) -> list[str]:
    """A sentence for each two neighbours of `count` stages whose wheels would overlap in one plane.

    Turned about the barrel they may still have room, so that it is said rather than refused.
    """
    said = []
    for k in range(count - 1):
        given, needed = (
            float(pitch(launcher, k)),
            float(launcher.stage(k).wheel.radius + launcher.stage(k + 1).wheel.radius),
        )
        if given < needed * (1 - _ROUNDING):
            said.append(
                f"Wheels of stages {k + 1} and {k + 2} overlap: their axes are {digits(1000 * given)} mm apart and"
                f" their radii take {digits(1000 * needed)} mm. They fit only if one stage is turned about the barrel."
            )
    return said

"""Where things are along the barrel."""

from __future__ import annotations

from stager.model.arrays import Number
from stager.model.launcher import Launcher


def pitch(launcher: Launcher, index: int) -> Number:
    """Distance between the axes of stage `index` and the next [m]: as given, or R_i + R_(i+1) + clearance."""
    here, after = launcher.stage(index), launcher.stage(index + 1)
    if here.pitch is not None:
        return here.pitch
    return here.wheel.radius + after.wheel.radius + here.clearance


def length(launcher: Launcher, count: int) -> Number:
    """Length along the barrel of `count` stages [m]: R_1 + pitches + R_n; outlet and rod add their own lengths."""
    if count == 0:
        return 0.0
    total = place(launcher, count - 1) + launcher.stage(count - 1).wheel.radius
    if launcher.outlet is not None:
        total = total + launcher.outlet.length
    return total if launcher.projectile.length is None else total + launcher.projectile.length


def place(launcher: Launcher, index: int) -> Number:
    """Where the axes of stage `index` are along the barrel [m], from the front of the first wheel: R_1 + pitches."""
    at = launcher.stage(0).wheel.radius
    for before in range(index):
        at = at + pitch(launcher, before)
    return at


def touch(launcher: Launcher, index: int) -> Number:
    """How far ahead of the axes of stage `index` a round projectile, or a rod's end, touches the wheel at rest [m].

    √(D² − h²) with D = R + r the distance of the centres as they touch, h that in the nip; a rod's edge is a point.
    """
    stage, projectile = launcher.stage(index), launcher.projectile
    crush = stage.crush * stage.layout.crush_share
    distance = stage.wheel.radius + (projectile.radius if projectile.shape.rolls else 0.0)
    return (distance**2 - (distance - crush) ** 2) ** 0.5

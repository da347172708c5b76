"""Along the barrel: places, length, free run between stages with friction and air drag, highest rate of the feed."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Guide, Launcher, Pusher
from stager.model.projectile import Projectile
from stager.physics.compiled import compiled
from stager.physics.wheel import nip_growth


def pitch(launcher: Launcher, index: int) -> Number:
    """Return the distance between the axes of stage `index` and the next [m]: given, or R_i + R_(i+1) + clearance."""
    here, after = launcher.stage(index), launcher.stage(index + 1)
    if here.pitch is not None:
        return here.pitch
    return here.wheel.radius + after.wheel.radius + here.clearance


def length(launcher: Launcher, count: int) -> Number:
    """Return the length of `count` stages [m]: R_1 + pitches + R_n, plus the lengths of outlet and rod."""
    if count == 0:
        return 0.0
    total = place(launcher, count - 1) + launcher.stage(count - 1).wheel.radius
    if launcher.outlet is not None:
        total = total + launcher.outlet.length
    return total if launcher.projectile.length is None else total + launcher.projectile.length


def place(launcher: Launcher, index: int) -> Number:
    """Return the place of the axes of stage `index` [m], from the back of the first wheel: R_1 + pitches."""
    at = launcher.stage(0).wheel.radius
    for before in range(index):
        at = at + pitch(launcher, before)
    return at


def touch(launcher: Launcher, index: int) -> Number:
    """Return how far before the axes of stage `index` the projectile first touches the wheel at rest [m].

    √(D² − h²) with D = R + r the distance of the centres at the touch and h that in the nip; r = 0 for a rod's edge.
    """
    stage, projectile = launcher.stage(index), launcher.projectile
    crush = stage.crush * stage.layout.crush_share
    distance = stage.wheel.radius + (projectile.radius if projectile.shape.rolls else 0.0)
    return (distance**2 - (distance - crush) ** 2) ** 0.5


def half_contact(launcher: Launcher, index: int, wheel_speed: Number) -> Number:
    """Return how far before the axes of stage `index` contact begins, both wheels at `wheel_speed` [m/s] [m].

    √((R + r)² − h²) with growth of the wheel; √(2 R d) for a rod. It ends as far behind, for a rod plus its length.
    """
    stage, projectile = launcher.stage(index), launcher.projectile
    grown = nip_growth(stage, wheel_speed, wheel_speed)
    depth = stage.layout.crush_share * stage.crush + grown
    if projectile.shape.rolls:
        reach = stage.wheel.radius + projectile.radius + grown
        return np.sqrt(np.maximum(reach**2 - (reach - depth) ** 2, 0.0))
    return np.sqrt(2 * (stage.wheel.radius + grown) * np.maximum(depth, 0.0))


def free_runs(launcher: Launcher, count: int, wheel_speed: Floats) -> list[Floats]:
    """Return the free runs between `count` stages at `wheel_speed` [m/s], each at least of shape (1,) [m].

    Negative where two stages hold the projectile at once. Raises ValueError for a rod of unknown length.
    """
    length = 0.0 if launcher.projectile.shape.rolls else launcher.projectile.length
    if length is None:
        raise ValueError("a rod needs a length")
    halves = [half_contact(launcher, k, wheel_speed) for k in range(count)]
    return [
        np.atleast_1d(pitch(launcher, k) - halves[k] - halves[k + 1] - length) for k in range(count - 1)
    ]  # fmt: skip


def overlapping(launcher: Launcher, count: int, wheel_speed: Floats) -> bool:
    """Return whether two of `count` stages hold the projectile at once at `wheel_speed` [m/s], shape (1,)."""
    return any(bool((run < 0).any()) for run in free_runs(launcher, count, wheel_speed))


def coupled(launcher: Launcher, index: int, wheel_speed: Floats) -> bool:
    """Return whether stage `index` and the one before it hold the projectile at once, at `wheel_speed` [m/s], (1,)."""
    return index > 0 and bool((free_runs(launcher, index + 1, wheel_speed)[-1] < 0).any())


BUSY = 0.6
"""Share of the feed's highest rate above which delays are likely to jam it [-]; common practice, no source."""


def greatest_rate(speed: Number, projectile: Projectile, pusher: Pusher | None = None) -> Floats:
    """Return the highest rate of a feed [1/s].

    speed / length along the barrel, of projectiles that touch each other; with a pusher at most
    1 / (travel / speed + return time).

    Parameters
    ----------
    speed : Number
        Speed into the first nip [m/s].
    projectile : Projectile
        Gives the length along the barrel.
    pusher : Pusher or None
        None: projectiles are fed without one.
    """
    touching = np.asarray(speed / projectile.barrel_length, dtype=np.float64)
    if pusher is None:
        return touching
    return np.minimum(touching, 1 / (pusher.travel / speed + pusher.return_time))


def feed_rate(launcher: Launcher) -> Floats:
    """Return the highest rate of the feed of `launcher` [1/s]."""
    return greatest_rate(launcher.feed.speed, launcher.projectile, launcher.feed.pusher)


STANDARD_GRAVITY = 9.80665
"""[m/s^2]; ISO 2533."""
AIR_DENSITY = 1.225
"""ISO 2533 at sea level [kg/m^3]."""
ROUND_DRAG = 0.47
"""Drag coefficient of a sphere below the drag crisis [-]; 0.45 in Aeronautical Engineer's Data Book, fig. 5.13."""
BLUNT_DRAG = 1.0
"""Typical drag coefficient of a blunt body [-]; there 0.85 to 0.99 of cylinders along the flow."""


@compiled
def free_flight(speed: Any, run: Any, slowing: Any, drag: Any) -> Any:
    """Return the speed [m/s] after a free run of `run` [m], 0 where it comes to rest.

    d(v²)/dx = −slowing − drag·v², solved exactly: slowing [m/s^2], drag [1/m]. Numbers or arrays.
    """
    drop = np.maximum(drag * run, 1e-300)
    lost = -np.expm1(-drop)
    return np.sqrt(np.maximum(speed * speed * (1.0 - lost) - slowing * run * lost / drop, 0.0))


def slowing(guide: Guide | None, projectile: Projectile) -> tuple[Number, Number]:
    """Return the losses in a guide: −d(v²)/dx by friction, 2 μ g [m/s^2], and ρ c A/m of air drag [1/m].

    The drag coefficient on the frontal area is constant. 0, 0 without a guide.
    """
    if guide is None:
        return 0.0, 0.0
    friction = 2 * guide.friction * STANDARD_GRAVITY
    if not guide.air_drag:
        return friction, 0.0
    coefficient = ROUND_DRAG if projectile.shape.rolls else BLUNT_DRAG
    area = np.pi * projectile.radius**2 if projectile.thickness is None else projectile.frontal_area
    return friction, AIR_DENSITY * coefficient * area / projectile.mass


def free_run(guide: Guide | None, projectile: Projectile, speed: Floats, run: Number) -> Floats:
    """Return the speed [m/s] after a free run of `run` [m] ≥ 0, 0 where it comes to rest; shapes broadcast."""
    if guide is None:
        return speed
    found: Floats = free_flight(speed, np.maximum(run, 0.0), *slowing(guide, projectile))
    return found


def run_up(launcher: Launcher, index: int, exit_speed: Floats, wheel_speed: Floats) -> Floats:
    """Return the entry speed of stage `index` [m/s] from the exit speed of the stage before it [m/s].

    wheel_speed: of the wheels, for their growth [m/s], shape (1,).
    """
    if index == 0 or launcher.guide is None:
        return exit_speed
    run = free_runs(launcher, index + 1, wheel_speed)[-1]
    return free_run(launcher.guide, launcher.projectile, exit_speed, np.maximum(run, 0.0))

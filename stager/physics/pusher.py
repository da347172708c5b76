"""What a pusher must do to bring the projectile to where the wheels of the first stage take it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.barrel import half_contact
from stager.physics.chain import Options, throw
from stager.physics.mechanics import peak_normal

POINTS = 33
"""Values that are tried at once."""
ROUNDS = 4
"""Refinements of the interval between the last jam and the first passage."""
STANDSTILL = 1e-3
"""Entry speed of a projectile that is pushed from rest [m/s]."""
SPARE = 1.25
"""Force of a pusher whose travel is looked for, by the least force, where its own is not enough [-]."""
ACCURATE = Options(tolerance=1e-6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """What a pusher must do at the first stage.

    fed: least force [N] at the feed's speed, 0: the wheels take the projectile by themselves
    rest: least force [N] from rest at first touch
    force: the feed's pusher's own where it is at least that, else `SPARE` times that [N]
    follow: how far behind first touch a pusher with `force` must follow [m]
    Infinite or NaN where no force brings it through.
    """

    fed: float
    rest: float
    force: float
    follow: float


def push(launcher: Launcher, wheel_speed: float, wheel_speed_b: float | None = None) -> Push:
    """Return what a pusher must do at set surface speeds of the first stage [m/s]."""
    rest = least_force(launcher, wheel_speed, wheel_speed_b, entry_speed=STANDSTILL)
    own = 0.0 if launcher.feed.pusher is None else float(launcher.feed.pusher.force)
    force = own if own >= rest else SPARE * rest
    return Push(
        fed=least_force(launcher, wheel_speed, wheel_speed_b), rest=rest, force=force,
        follow=least_travel(launcher, wheel_speed, wheel_speed_b, force=force),
    )  # fmt: skip


def least_force(
    launcher: Launcher, wheel_speed: float, wheel_speed_b: float | None = None, *, entry_speed: float | None = None
) -> float:
    """Return the least force behind the projectile with which it gets through the first stage [N].

    It pushes until the projectile is between the axes, a rod until its rear end is. 0 where it gets through without;
    inf where no force brings it through. entry_speed: at first touch [m/s]; the feed's by default.
    """

    def passes(force: Floats) -> Floats:
        return _passes(launcher, wheel_speed, wheel_speed_b, entry_speed, force, None)

    most = 4 * float(np.max(peak_normal(launcher, 0, wheel_speed, wheel_speed_b)))
    if passes(np.zeros(1))[0]:
        return 0.0
    return _first(passes, 0.0, most)


def least_travel(launcher: Launcher, wheel_speed: float, wheel_speed_b: float | None = None, *, force: float) -> float:
    """Return how far behind first touch a pusher with `force` [N] must follow so that the wheels take over [m]."""
    projectile = launcher.projectile
    reach = float(np.max(half_contact(launcher, 0, np.asarray(wheel_speed))))
    length = 0.0 if projectile.shape.rolls or projectile.length is None else float(projectile.length)
    touch = -reach - length / 2
    if not np.isfinite(force):
        return float("nan")

    def passes(travel: Floats) -> Floats:
        return _passes(launcher, wheel_speed, wheel_speed_b, STANDSTILL, force, travel + touch)

    found = _first(passes, 0.0, reach + length)
    return found if np.isfinite(found) else float("nan")


def _passes(
    launcher: Launcher, wheel_speed: float, wheel_speed_b: float | None, entry_speed: float | None, force: Number,
    until: Number | None,
) -> Floats:  # fmt: skip
    """Return 1 where the projectile gets through the first stage, 0 where it jams, over forces and ends of the push."""
    pushed = replace(launcher, feed=replace(launcher.feed, push=force, push_end=until))
    side_a, side_b = np.array([wheel_speed]), None if wheel_speed_b is None else np.array([wheel_speed_b])
    speed = launcher.feed.speed if entry_speed is None else entry_speed
    done = throw(pushed, side_a, side_b, entry_speed=speed, entry_spin=launcher.feed.spin, options=ACCURATE)
    return np.asarray(~done.jammed, dtype=np.float64)


def _first(passes: Callable[[Floats], Floats], low: float, high: float) -> float:
    """Return the least value from `low` to `high` that passes; inf where `high` does not."""
    for turn in range(ROUNDS):
        tried = np.linspace(low, high, POINTS)
        through = passes(tried) > 0
        if turn == 0 and not through[-1]:
            return float("inf")
        first = int(np.argmax(through))
        low, high = float(tried[max(first - 1, 0)]), float(tried[first])
    return high

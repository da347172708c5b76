"""How many projectiles a second a feed can hand over."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Pusher
from stager.model.projectile import Projectile

BUSY = 0.6
"""Share of the greatest rate above which a feed has little room for anything late [-]; common practice, no source."""


def greatest_rate(speed: Number, projectile: Projectile, pusher: Pusher | None = None) -> Floats:
    """Return the rate above which a feed cannot work [1/s].

    Projectiles that touch each other pass at `speed` over their length along the barrel; a pusher takes its travel at
    `speed` and the time to return.

    Parameters
    ----------
    speed : Number
        Speed into the first nip [m/s].
    projectile : Projectile
        What is fed.
    pusher : Pusher or None
        What pushes it in.
    """
    touching = np.asarray(speed / projectile.barrel_length, dtype=np.float64)
    if pusher is None:
        return touching
    return np.minimum(touching, 1 / (pusher.travel / speed + pusher.return_time))


def feed_rate(launcher: Launcher) -> Floats:
    """Return `greatest_rate` of the feed of `launcher` [1/s]."""
    return greatest_rate(launcher.feed.speed, launcher.projectile, launcher.feed.pusher)

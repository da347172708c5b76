"""What a feed can do."""

from __future__ import annotations

from collections.abc import Iterator

from stager.config.machine import File
from stager.config.problem import Problem
from stager.model.launcher import Pusher
from stager.model.projectile import SHAPES, Projectile
from stager.physics.layout import greatest_rate


def feed(file: File) -> Iterator[Problem]:
    """A rod enters without spin; no more is fed than fits behind each other, or than the pusher can push."""
    fed, thrown, size = file.feed, file.projectile, ("projectile", "diameter")
    if thrown.shape == "rod" and fed.spin.value:
        yield Problem(
            ("feed", "spin"), "belongs to what can roll, not to a rod", "leave it out", (("projectile", "shape"),)
        )
    if fed.rate is None:
        return
    pusher = None if fed.pusher is None else Pusher(
        force=fed.pusher.force.value, travel=fed.pusher.travel.value, return_time=fed.pusher.return_time.value
    )  # fmt: skip
    length = None if thrown.length is None else thrown.length.value
    known = Projectile(
        shape=SHAPES[thrown.shape], mass=thrown.mass.value, diameter=thrown.diameter.value, length=length
    )  # fmt: skip
    most, touching = (float(greatest_rate(fed.speed.value, known, one)) for one in (pusher, None))
    if fed.rate.value <= most * (1 + ROUNDING):
        return
    others = (("feed", "speed"), size, ("projectile", "length"), ("feed", "pusher"))
    why = "the next projectile touches the one before it" if most == touching else "the pusher needs that long"
    message = f"must be at most {most:.3g} /s (got {fed.rate.value:.3g} /s): there {why}"
    hint = f'for example rate = "{0.6 * most:.2g} /s", or a faster feed.speed'
    yield Problem(("feed", "rate"), message, hint, others)


ROUNDING = 1e-9
"""Share by which a rate may pass the greatest one [-]."""

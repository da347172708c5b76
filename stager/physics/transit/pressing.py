"""How the sides of the nips press, at several places of a segment at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.equations import Lanes, Pressing
from stager.physics.transit.segment import Segment
from stager.physics.transit.sides import Sides


class Place(NamedTuple):
    """What the way alone decides at one place along the barrel [m]: how the sides press, and dx/dparameter [m]."""

    place: Floats
    pressing: Pressing
    stretch: Floats


def places(lanes: Lanes, segment: Segment, parameters: Floats) -> list[Place]:
    """Places of a segment by its parameter, shape (places, lanes)."""
    place, stretch = segment.at(parameters)
    found = [profile.at(offset) for profile, offset in zip(segment.profiles, offsets(lanes, place), strict=True)]
    *parts, push = spread(lanes.sides, found, level_cosine=1.0)
    rows = [part if part.ndim > 2 else np.broadcast_to(part, (len(place), *part.shape)) for part in parts]
    return [Place(place[k], (rows[0][k], rows[1][k], rows[2][k], push[k]), stretch[k]) for k in range(len(place))]


def offsets(lanes: Lanes, place: Floats) -> list[Floats]:
    """How far `place` [m] is past the axis plane of each nip [m]."""
    return [place, *(place - axis for axis in lanes.axes[1:])]


def spread(sides: Sides, found: list[Pressing], *, level_cosine: float) -> Pressing:
    """What is found of each nip, side by side, shapes (..., sides or 1, lanes), and the sum of the pushes.

    found: shapes (..., lanes) or (1,); level_cosine: cos φ, or its change, of sides without tilt.
    """
    if len(found) == 1:
        normal, cosine, sine, push = found[0]
        if not any(sides.level):
            return normal[..., None, :], cosine[..., None, :], sine[..., None, :], push
        level = np.empty((*normal.shape[:-1], len(sides.laws), normal.shape[-1]))
        level[...] = level_cosine
        level[..., 0, :] = cosine
        return normal[..., None, :], level, sine[..., None, :], push
    push = found[0][3]
    for other in found[1:]:
        push = push + other[3]
    parts = [
        np.stack([np.broadcast_to(found[nip][part], push.shape) for nip in sides.nip], axis=-2) for part in range(3)
    ]
    cosine = np.where(np.array(sides.level)[:, None], level_cosine, parts[1])
    return parts[0], cosine, parts[2], push

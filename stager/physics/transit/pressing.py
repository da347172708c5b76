"""How the sides of the nips press, at several places of a segment at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from stager.hardware.arrays import Floats
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
    return [
        Place(place[k], spread(lanes.sides, [_row(nip, k) for nip in found], level_cosine=1.0), stretch[k])
        for k in range(len(parameters))
    ]


def offsets(lanes: Lanes, place: Floats) -> list[Floats]:
    """How far `place` [m] is past the axis plane of each nip [m]."""
    return [place, *(place - axis for axis in lanes.axes[1:])]


def spread(sides: Sides, found: list[Pressing], *, level_cosine: float) -> Pressing:
    """What is found of each nip, side by side, shapes (sides, lanes) or (1, lanes), and the sum of the pushes.

    level_cosine: cos φ, or its change, of sides without tilt.
    """
    if len(found) == 1:
        normal, cosine, sine, push = found[0]
        if not any(sides.level):
            return normal[None], cosine[None], sine[None], push
        level = np.full((len(sides.laws), cosine.size), level_cosine)
        level[0] = cosine
        return normal[None], level, sine[None], push
    parts = [np.stack(np.broadcast_arrays(*(found[nip][part] for nip in sides.nip))) for part in range(3)]
    push = found[0][3]
    for other in found[1:]:
        push = push + other[3]
    cosine = np.where(np.array(sides.level)[:, None], level_cosine, parts[1])
    return parts[0], cosine, parts[2], push


def _row(nip: Pressing, k: int) -> Pressing:
    normal, cosine, sine, push = (part if part.ndim == 1 else part[k] for part in nip)
    return normal, cosine, sine, push

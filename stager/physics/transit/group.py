"""Nips that act together: one alone, or several at once for rods and close pitches."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from stager.model.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.course import Course, Index
from stager.physics.transit.equations import Lanes
from stager.physics.transit.march import march
from stager.physics.transit.nip import Nip
from stager.physics.transit.segment import Bend, Segment, segment
from stager.physics.transit.trail import Trail


def travel(lanes: Lanes, nips: tuple[Nip, ...], state: Floats, options: Options) -> tuple[Trail, Index, Index]:
    """Take `state`, shape (rows, lanes), through all nips.

    Gives what the lanes leave, and which end of a segment is a nip's first and last contact, shapes (nips, lanes).
    """
    count, sides = state.shape[1], lanes.sides
    nips = tuple(nip.share(sides.weight) for nip in nips)
    if len(nips) == 1:
        segments = nips[0].pieces()
        began, ended = np.zeros((1, count), np.intp), np.full((1, count), len(segments), np.intp)
    else:
        segments, began, ended = _cut(lanes, nips, count)
    course = Course(segments, count)
    trail = Trail.start(state, len(segments), len(sides.laws))
    march(lanes, course, trail, options)
    trail.close(course.idle)
    return trail, began, ended


def _cut(lanes: Lanes, nips: tuple[Nip, ...], count: int) -> tuple[tuple[Segment, ...], Index, Index]:
    """Segments between all breaks of all nips, in each lane's own order."""
    marks = [
        np.broadcast_to(axis + offset, (count,))
        for nip, axis in zip(nips, lanes.axes, strict=True)
        for offset in nip.breaks
    ]
    order = np.argsort(np.stack(marks), axis=0, kind="stable")
    places = np.take_along_axis(np.stack(marks), order, axis=0)
    rank = np.argsort(order, axis=0)
    lengths = np.cumsum([0] + [len(nip.breaks) for nip in nips])
    began, ended = rank[lengths[:-1]], rank[lengths[1:] - 1]
    segments = []
    for low, high in pairwise(places):
        middle = (low + high) / 2
        profiles = tuple(nip.profile(middle - axis) for nip, axis in zip(nips, lanes.axes, strict=True))
        segments.append(segment(low, high - low, Bend.STRAIGHT, profiles))
    return tuple(segments), began, ended

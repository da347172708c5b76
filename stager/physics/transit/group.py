"""Nips that act together: one alone, or several at once for rods and close pitches."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from stager.hardware.arrays import Floats
from stager.physics.options import Options
from stager.physics.transit.equations import Lanes
from stager.physics.transit.march import march
from stager.physics.transit.nip import Nip
from stager.physics.transit.pool import Journey
from stager.physics.transit.segment import Bend, Segment


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """What a group leaves, first axis over the ends of the segments (start included), last over the lanes.

    state, shape (ends, rows, lanes); jammed (ends, lanes); peaks and least_slip between the ends, shape
    (segments, ...); exit_slip at their ends, shape (segments, sides, lanes); began, ended: which end is a
    nip's first and last contact, shape (nips, lanes).
    """

    state: Floats
    jammed: NDArray[np.bool_]
    peak_acceleration: Floats
    peak_slip_power: Floats
    least_slip: Floats
    exit_slip: Floats
    began: NDArray[np.intp]
    ended: NDArray[np.intp]


def travel(lanes: Lanes, nips: tuple[Nip, ...], state: Floats, options: Options) -> tuple[Trail, Journey]:
    """Take `state`, shape (rows, lanes), through all nips; the place where a lane jams is in the journey."""
    count = state.shape[1]
    if len(nips) == 1:
        segments = nips[0].pieces()
        began, ended = np.zeros((1, count), np.intp), np.full((1, count), len(segments), np.intp)
    else:
        segments, began, ended = _cut(lanes, nips, count)
    sides = len(lanes.sides.laws)
    journey = Journey(
        state=state,
        jammed=np.zeros(count, bool),
        place=np.zeros(count),
        peak_acceleration=np.zeros(count),
        peak_slip_power=np.zeros(count),
        least_slip=np.full((sides, count), np.inf),
        last_slip=np.zeros((sides, count)),
    )
    states, jams = [state.copy()], [journey.jammed.copy()]
    accelerations: list[Floats] = []
    powers: list[Floats] = []
    slips: list[Floats] = []
    exits: list[Floats] = []
    for segment in segments:
        march(lanes, segment, journey, options)
        states.append(journey.state.copy())
        jams.append(journey.jammed.copy())
        accelerations.append(journey.peak_acceleration)
        powers.append(journey.peak_slip_power)
        slips.append(journey.least_slip)
        exits.append(journey.last_slip.copy())
        journey.peak_acceleration, journey.peak_slip_power = np.zeros(count), np.zeros(count)
        journey.least_slip = np.full((sides, count), np.inf)
    trail = Trail(
        state=np.stack(states), jammed=np.stack(jams), peak_acceleration=np.stack(accelerations),
        peak_slip_power=np.stack(powers), least_slip=np.stack(slips), exit_slip=np.stack(exits),
        began=began, ended=ended,
    )  # fmt: skip
    return trail, journey


def _cut(
    lanes: Lanes, nips: tuple[Nip, ...], count: int
) -> tuple[tuple[Segment, ...], NDArray[np.intp], NDArray[np.intp]]:
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
        segments.append(Segment(low=low, span=high - low, bend=Bend.STRAIGHT, profiles=profiles))
    return tuple(segments), began, ended

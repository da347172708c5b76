"""How the right side changes along the way alone, exactly: what a linearly implicit step needs of it."""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.equations import Lanes, Slopes, over_sides
from stager.physics.transit.pressing import spread
from stager.physics.transit.segment import Segment


def segment_drift(
    lanes: Lanes, segment: Segment, parameter: Floats, state: Floats, now: Slopes, stretch: Floats
) -> Floats:
    """Derivative of the right side by the segment's parameter at a fixed state, shape (rows, lanes).

    d/dτ (f·x′) = f_x·x′² + f·x″; now, stretch: f's parts and x′ at `parameter`.
    """
    along = drift(lanes, segment, segment.at(parameter)[0], state, now)
    return stretch * stretch * along + (segment.bend.curvature * segment.span) * now.rate


def drift(lanes: Lanes, segment: Segment, place: Floats, state: Floats, now: Slopes) -> Floats:
    """Derivative of `slopes` by the place alone [1/m], shape (rows, lanes); now: `slopes` at `place` [m]."""
    sides, speed = lanes.sides, now.speed
    count = len(sides.laws)
    found = [profile.change(place - axis) for profile, axis in zip(segment.profiles, lanes.axes, strict=True)]
    normal, cosine, sine, push = spread(sides, found, level_cosine=0.0)
    slipping = -speed * cosine
    force = normal * now.traction + now.steepness * slipping
    for side, is_rail in enumerate(sides.rail):
        if is_rail:
            wheel = side - 1
            row = wheel if sine.shape[0] > 1 else 0
            pressed = normal[row] * now.cosine[wheel] + now.normal[wheel] * cosine[wheel]
            pressed = pressed - force[wheel] * now.sine[row] - now.force[wheel] * sine[row]
            force[side] = np.where(now.normal[side] > 0.0, pressed * now.traction[side], 0.0)
    rate = np.zeros_like(state)
    pull = force if sides.single else force * sides.weights
    rate[0] = (push + over_sides(pull * now.cosine + now.pull * cosine)) / (lanes.mass * speed)
    if sides.turns:
        turning = over_sides(pull * sides.turnings)
        rate[1] = lanes.radius * lanes.inverse_spin_inertia * turning / speed
    rate[2 : 2 + count] = -sides.radius * sides.radius * sides.inverse_inertia * force / speed
    if lanes.books:
        rate[3 + count : 3 + 2 * count] = force * now.wheel / speed
        rate[3 + 2 * count :] = (force * now.slip + now.force * slipping) / speed
    return rate

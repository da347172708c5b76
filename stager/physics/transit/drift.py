"""How the rates change along the way alone, exactly: what a linearly implicit step needs of it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.equations import Lanes, Slopes, over_sides, over_turns
from stager.physics.transit.pressing import offsets, spread
from stager.physics.transit.segment import Segment


class Drift(NamedTuple):
    """Derivatives by the place alone [1/m]: of the rates, shape (rows, lanes), of the forces and of the slips, shape
    (sides, lanes)."""

    rate: Floats
    force: Floats
    slip: Floats


def drift(lanes: Lanes, segment: Segment, place: Floats, now: Slopes) -> Drift:
    """Derivatives at the place [m] where the rates are `now`, at a fixed state."""
    sides, pressing = lanes.sides, (now.normal, now.cosine, now.sine)
    found = [
        profile.change(offset, *(part[sides.nip.index(nip) if len(part) > 1 else 0] for part in pressing))
        for nip, (profile, offset) in enumerate(zip(segment.profiles, offsets(lanes, place), strict=True))
    ]
    normal, cosine, sine, push = spread(sides, found, level_cosine=0.0)
    slip = now.speed * cosine
    np.negative(slip, out=slip)
    force = normal * now.traction
    force += now.steepness * slip
    for side, is_rail in enumerate(sides.rail):
        if is_rail:
            wheel = side - 1
            row = wheel if sine.shape[0] > 1 else 0
            pressed = normal[row] * now.cosine[wheel] + now.normal[wheel] * cosine[wheel]
            pressed = pressed - force[wheel] * now.sine[row] - now.force[wheel] * sine[row]
            force[side] = np.where(now.normal[side] > 0.0, pressed * now.traction[side], 0.0)
    rate = np.empty((sides.rows, place.size))
    thrust = over_sides(force * now.cosine + now.force * cosine)
    thrust += push
    np.multiply(thrust, lanes.inverse_mass, out=rate[0])
    if sides.turns:
        np.multiply(over_turns(sides, force), lanes.spin_gain, out=rate[1])
    np.multiply(force, sides.brake, out=rate[sides.wheels])
    return Drift(rate, force, slip)

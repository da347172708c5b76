"""The throws of a session one after the other, from wheels that have come up to their set speeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.physics.rate.rhythm import Rhythm


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """exit_speed of each throw [m/s], (throws, ...); missing: share of its set speed that each wheel lacks when it
    begins [-], (throws, ..., wheels) in the rhythm's columns."""

    exit_speed: Floats
    missing: Floats


def sequence(rhythm: Rhythm, throws: int) -> Sequence:
    """The first `throws` throws of a rhythm, each from where the recovery before it ended."""
    speed = rhythm.target
    exits, missing = [], []
    for _ in range(throws):
        done = rhythm.throw(speed)
        exits.append(done.exit_speed)
        missing.append(1 - speed / rhythm.target)
        speed = rhythm.recover(rhythm.after(done))
    return Sequence(exit_speed=np.stack(exits), missing=np.stack(missing))

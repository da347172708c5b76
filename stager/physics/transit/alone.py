"""The transit of a single lane in plain numbers: what its ways share.

For a handful of lanes arrays cost far more than their arithmetic; a batch hands its last lanes over to this. Equations
and method are those of the batch, operation by operation, one nip at a time: `alone_mirrored` and `alone_sided`.
"""

from __future__ import annotations

from typing import Protocol

from stager.model.arrays import Floats
from stager.physics.transit.segment import FLOOR, Segment

Pressing = tuple[float, float, float, float]
"""As `Profile.at`: normal, cos φ, sin φ, push."""
Look = tuple[float, float, float, float]
"""What is watched of a contact: |thrust| [N], slip power [W], slip of side A and of B [m/s], equal sides having one."""
Error = tuple[float, float, float]
"""Local errors of a step: of v, of the spin, the greatest of the sides' speeds."""
Stepped = tuple[Look, list[float], Error, tuple[float, float]]
"""A step that was tried: what was seen where it began, new state, local error, and the greatest |thrust| and slip
power inside. Plain tuples, here and in the contacts: named ones take as long to make as a stage's sums."""


class Alone(Protocol):
    """A single lane, in the segment it has entered."""

    radius: float
    top: float

    def enter(self, segment: Segment) -> None:
        """Go on through `segment`, of one nip."""
        ...

    def at(self, parameter: float) -> tuple[float, float]:
        """Place along the barrel [m] and its derivative by the parameter [m]."""
        ...

    def look(self, place: float, state: list[float]) -> Look:
        """What is watched at a parameter of the segment."""
        ...

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """One step, `size` long, from the parameter `place`."""
        ...


class Way:
    """The way through a segment of a single lane, and how sides press there."""

    def enter(self, segment: Segment) -> None:
        """See Alone."""
        self.low, self.slope, self.bow = one(segment.low), one(segment.slope), one(segment.bow)
        self.normal, self.change = segment.profiles[0].alone()

    def at(self, parameter: float) -> tuple[float, float]:
        """See Alone."""
        bent = self.bow * parameter
        place = self.slope + bent
        return place * parameter + self.low, bent + place


def one(values: Floats, side: int = 0) -> float:
    """The number of a side in an array of a single lane, (1,), (sides, 1) or of a value the same for all."""
    return float(values[side, 0]) if values.ndim == 2 else values.item()


def evaluate(alone: Alone, speed: float, after: float, error: Error, tolerance: float) -> tuple[bool, float]:
    """Whether the projectile has stopped behind a step from `speed` to `after` [m/s], and the local error as a share of
    what is allowed [-]; as the batch's."""
    scale = alone.top if alone.top > speed else speed
    squares = error[0] * speed * 2.0 / (speed * speed + 0.01 * (scale * scale))
    return not after > scale * FLOOR, max(squares, error[2] / scale, alone.radius * error[1] / scale) / tolerance

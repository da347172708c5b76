"""The transit of a single lane in plain numbers: what its ways share.

For a handful of lanes arrays cost far more than their arithmetic; a batch hands its last lanes over to this. Equations
and method are those of the batch, operation by operation, one nip at a time: `alone_mirrored` and `alone_sided`.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

from stager.hardware.arrays import Floats
from stager.physics.transit.segment import FLOOR


class Look(NamedTuple):
    """What is watched of a contact: |thrust| [N], slip power [W], slip of each side [m/s]."""

    thrust: float
    power: float
    slips: tuple[float, ...]


class Error(NamedTuple):
    """Local errors of a step: of v, of the spin, of the sides' speeds."""

    speed: float
    spin: float
    wheels: tuple[float, ...]


class Stepped(NamedTuple):
    """A step that was tried: what was seen where it began, new state, local error, and the greatest |thrust| and slip
    power inside."""

    here: Look
    fresh: list[float]
    error: Error
    inside: tuple[float, float]


class Alone(Protocol):
    """A single lane in a segment."""

    radius: float
    top: float

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
    """The way through a segment of a single lane."""

    def __init__(self, low: Floats, slope: Floats, bow: Floats) -> None:
        self.low, self.slope, self.bow = one(low), one(slope), one(bow)

    def at(self, parameter: float) -> tuple[float, float]:
        """See Alone."""
        bent = self.bow * parameter
        place = self.slope + bent
        return place * parameter + self.low, bent + place


def one(values: Floats, side: int = 0) -> float:
    """The number of a side in an array of a single lane, (1,), (sides, 1) or of a value the same for all."""
    return float(values[side, 0]) if values.ndim == 2 else values.item()


def judge(alone: Alone, state: list[float], stepped: Stepped, tolerance: float) -> tuple[bool, float]:
    """Whether the projectile has stopped, and the local error as a share of what is allowed; as the batch's."""
    speed, error = state[0], stepped.error
    scale = max(speed, alone.top)
    squares = error.speed * speed * 2.0 / (speed * speed + 0.01 * (scale * scale))
    ratio = max(squares, max(error.wheels) / scale, alone.radius * error.spin / scale)
    return not stepped.fresh[0] > scale * FLOOR, ratio / tolerance

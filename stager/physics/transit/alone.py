"""The transit of a single lane in plain numbers: what its ways share.

For a handful of lanes arrays cost far more than their arithmetic; a batch hands its last lanes over to this. Equations
and method are those of the batch, operation by operation, one nip at a time: `alone_mirrored` and `alone_sided`.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

from stager.hardware.arrays import Floats
from stager.physics.transit.rosenbrock import DRIFT, SCALED_KNOWN, STATE
from stager.physics.transit.segment import FLOOR, STILL


class Look(NamedTuple):
    """What is watched of a contact: acceleration [m/s^2], slip power [W], slip of each side [m/s]."""

    acceleration: float
    slip_power: float
    slips: tuple[float, ...]


class Stepped(NamedTuple):
    """A step that was tried: what was seen where it began, new state, local error, and the greatest acceleration and
    slip power inside."""

    here: Look
    fresh: list[float]
    error: list[float]
    inside: tuple[float, float]


class Alone(Protocol):
    """A single lane in a segment."""

    count: int
    radius: float
    top: float

    def look(self, place: float, state: list[float]) -> Look:
        """What is watched at a parameter of the segment."""
        ...

    def step(self, state: list[float], place: float, size: float) -> Stepped:
        """One step, `size` long, from the parameter `place`."""
        ...


def one(values: Floats, side: int = 0) -> float:
    """The number of a side in an array of a single lane, (1,), (sides, 1) or of a value the same for all."""
    return float(values[side, 0]) if values.ndim == 2 else float(values[0])


def mix(weights: tuple[float, ...], parts: list[list[float]], start: list[float]) -> list[float]:
    """start + Σ weight·part, added up in the order of the batch's own."""
    if not weights:
        return start
    if len(weights) == 1:
        (a,) = weights
        return [s + a * p for s, p in zip(start, *parts, strict=True)]
    if len(weights) == 2:
        a, b = weights
        return [s + a * p + b * q for s, p, q in zip(start, *parts, strict=True)]
    if len(weights) == 3:
        a, b, c = weights
        return [s + a * p + b * q + c * r for s, p, q, r in zip(start, *parts, strict=True)]
    total = mix(weights[:3], parts[:3], start)
    return mix(weights[3:], parts[3:], total)


def add_books(
    start: list[float],
    factors: list[float],
    rates: list[list[float]],
    given: list[list[float]],
    lost: list[float],
    drift: list[float],
) -> list[float]:
    """Books at the end of a step that began with `start`, from what its stages give; see `Implicit`.

    Of each stage: reach times dx/dparameter, rates per metre, what the increments of forces and speeds give, and the
    share lost to the increment of v.
    """
    parts: list[list[float]] = []
    for mixes, pull, factor, rate, more, less in zip(SCALED_KNOWN, DRIFT, factors, rates, given, lost, strict=True):
        known = mix(mixes, parts, [factor * a + pull * b for a, b in zip(rate, drift, strict=True)])
        parts.append([a - b * less + c for a, b, c in zip(known, rates[0], more, strict=True)])
    inner = mix(STATE[5], parts[:5], start)
    return [a + b for a, b in zip(inner, parts[5], strict=True)]


def judge(
    single: Alone, state: list[float], fresh: list[float], error: list[float], tolerance: float
) -> tuple[bool, float]:
    """Whether the projectile has stopped, and the local error as a share of what is allowed; as the batch's."""
    speed = max(state[0], single.top, STILL)
    squares = 2.0 * state[0] * error[0] / (state[0] * state[0] + 0.01 * (speed * speed))
    ratio = max(squares, single.radius * error[1] / speed, max(error[2 : 2 + single.count]) / speed)
    return not fresh[0] > FLOOR * speed, ratio / tolerance

"""How often one may throw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.chain import throw
from stager.physics.options import QUICK
from stager.physics.rate.rhythm import build_rhythm
from stager.physics.rate.state import settle_rhythm
from stager.physics.records import Throw

SLOWEST = 1e-2
SAMPLES = (8, 7, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class HighestRate:
    """rate [1/s], shape (...); by_contact: the loss allows throws that follow each other without a pause;
    never: not even one throw in 100 s keeps it."""

    rate: Floats
    by_contact: NDArray[np.bool_]
    never: NDArray[np.bool_]


def highest_rate(
    launcher: Launcher,
    loss: Number,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    first: Throw | None = None,
) -> HighestRate | None:
    """Highest rate [1/s] whose settled exit speed is at most `loss` [-] below the first, shape (...).

    wheel_speed, wheel_speed_b: set surface speeds [m/s], (..., stages); first: the throw from them, if known. Loss
    rises with the rate: it is looked at for rates between one throw in 100 s and throws without a pause, then closer,
    a few rates in one batch, and interpolated in the logarithm of the rate. None where a stage has no drive or the
    launcher no supply.
    """
    first = throw(launcher, wheel_speed, wheel_speed_b) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    rhythm = build_rhythm(launcher, 1.0, contact, wheel_speed, wheel_speed_b)
    if rhythm is None:
        return None
    low = np.full(contact.shape, np.log(SLOWEST))
    high = -np.log(np.where(contact > 0, contact, 1.0)) - 1e-6
    pauseless, excess, ends = high, np.zeros((2, *contact.shape)), None
    for samples in SAMPLES:
        at = np.linspace(low, high, samples)
        found = settle_rhythm(rhythm.at(np.exp(-at)), first, QUICK)
        excess = np.where(found.throw.jammed, 1.0, found.loss) - loss
        ends = (excess[0] > 0, excess[-1] <= 0) if ends is None else ends
        below = np.clip((excess <= 0).sum(axis=0) - 1, 0, samples - 2)[None]
        pair = np.concatenate([below, below + 1])
        low, high = np.take_along_axis(at, pair, axis=0)
        excess = np.take_along_axis(excess, pair, axis=0)
    span = excess[1] - excess[0]
    share = np.clip(-excess[0] / np.where(span != 0, span, 1.0), 0.0, 1.0)
    never, unbound = ends if ends is not None else (share < 0, share < 0)
    logarithm = np.where(unbound, pauseless, low + share * (high - low))
    return HighestRate(rate=np.where(never, 0.0, np.exp(logarithm)), by_contact=unbound, never=never)

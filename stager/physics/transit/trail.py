"""What lanes leave on their way through segments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats


@dataclass(slots=True, kw_only=True)
class Trail:
    """First axis over the ends of the segments (start included) or over the segments, last over the lanes.

    state, shape (ends, rows, lanes); jammed (ends, lanes); thrust: greatest |force| along the barrel [N], slip_power
    [W], shape (segments, lanes); least_slip: least |s| of each side in contact [m/s], exit_slip: s at the segment's
    end [m/s], shape (segments, sides, lanes); place: where the last segment ended or the lane stopped [m], (lanes,).
    """

    state: Floats
    jammed: NDArray[np.bool_]
    thrust: Floats
    slip_power: Floats
    least_slip: Floats
    exit_slip: Floats
    place: Floats

    @classmethod
    def start(cls, state: Floats, segments: int, sides: int) -> Trail:
        """Of lanes that start with `state`, shape (rows, lanes)."""
        count = state.shape[1]
        states = np.empty((segments + 1, *state.shape))
        states[0] = state
        return cls(
            state=states, jammed=np.zeros((segments + 1, count), bool), thrust=np.zeros((segments, count)),
            slip_power=np.zeros((segments, count)), least_slip=np.full((segments, sides, count), np.inf),
            exit_slip=np.zeros((segments, sides, count)), place=np.zeros(count),
        )  # fmt: skip

    def close(self, idle: NDArray[np.bool_]) -> None:
        """Where a lane had stopped or a segment was idle for it, shape (segments, lanes), nothing changed."""
        if not (idle.any() or self.jammed.any()):
            return
        for number, unused in enumerate(idle):
            still = unused | self.jammed[number]
            self.jammed[number + 1] |= self.jammed[number]
            if still.any():
                self.state[number + 1][:, still] = self.state[number][:, still]
                if number:
                    self.exit_slip[number][:, still] = self.exit_slip[number - 1][:, still]


def least(low: Floats, high: Floats) -> Floats:
    """Least |s| of slips between `low` and `high`."""
    return np.maximum(np.maximum(low, -high), 0.0)

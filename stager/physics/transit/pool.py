"""Lanes on their way through a segment, each at its own pace, and what is watched of them."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from stager.hardware.arrays import Floats
from stager.physics.transit.equations import Slopes, over_sides


@dataclass(slots=True)
class Journey:
    """State on the way, shape (rows, lanes), and what is watched.

    jammed; place where the last segment ended or the lane stopped [m]; peak_acceleration [m/s^2] and peak_slip_power
    [W] since it was last cleared, each shape (lanes,);
    least_slip: least |s| of each side in contact [m/s], last_slip: s [m/s], shape (sides, lanes).
    """

    state: Floats
    jammed: NDArray[np.bool_]
    place: Floats
    peak_acceleration: Floats
    peak_slip_power: Floats
    least_slip: Floats
    last_slip: Floats


@dataclass(slots=True)
class Pool:
    """Lanes under way; last axis of all: these lanes.

    index: which lanes of the journey; place: parameter of the segment, 0 to 1; size: next step in it;
    held: the last step failed; jammed; over: jammed or at the end, moves no more; state and what is watched as in
    Journey.
    """

    index: NDArray[np.intp]
    place: Floats
    size: Floats
    held: NDArray[np.bool_]
    jammed: NDArray[np.bool_]
    over: NDArray[np.bool_]
    state: Floats
    peak_acceleration: Floats
    peak_slip_power: Floats
    least_slip: Floats
    last_slip: Floats

    @classmethod
    def start(cls, journey: Journey, index: NDArray[np.intp], size: float) -> Pool:
        """Lanes `index` of `journey` at the start of a segment."""
        return cls(
            index=index, place=np.zeros(index.size), size=np.full(index.size, size), held=np.zeros(index.size, bool),
            jammed=np.zeros(index.size, bool), over=np.zeros(index.size, bool),
            state=journey.state[:, index], peak_acceleration=journey.peak_acceleration[index],
            peak_slip_power=journey.peak_slip_power[index], least_slip=journey.least_slip[:, index],
            last_slip=journey.last_slip[:, index],
        )  # fmt: skip

    def take(self, chosen: NDArray[np.intp]) -> Pool:
        """The chosen of these lanes."""
        return Pool(**{field.name: getattr(self, field.name)[..., chosen] for field in fields(self)})

    def join(self, other: Pool) -> Pool:
        """These and the lanes of `other`."""
        both = {
            field.name: np.concatenate([getattr(self, field.name), getattr(other, field.name)], axis=-1)
            for field in fields(self)
        }
        return Pool(**both)

    def watch(self, now: Slopes) -> None:
        """Take in one place."""
        self.peaks((now,))
        crossed = now.slip * self.last_slip < 0.0
        self.least_slip = np.minimum(self.least_slip, np.where(crossed, 0.0, np.abs(now.slip)))
        self.last_slip = now.slip

    def peaks(self, seen: tuple[Slopes, ...], where: NDArray[np.bool_] | bool = True) -> None:
        """Take in the peaks alone, of the lanes `where`."""
        accelerations = [np.abs(now.rate[0] * now.speed) for now in seen]
        powers = [over_sides(now.pull * now.slip) for now in seen]
        for peak, found in ((self.peak_acceleration, accelerations), (self.peak_slip_power, powers)):
            np.fmax(peak, reduce(np.fmax, found), out=peak, where=where)

    def leave(self, journey: Journey, place: Floats) -> None:
        """Write these lanes back; place: where they are along the barrel [m]."""
        journey.state[:, self.index] = self.state
        journey.jammed[self.index] = self.jammed
        journey.place[self.index] = place
        journey.peak_acceleration[self.index] = self.peak_acceleration
        journey.peak_slip_power[self.index] = self.peak_slip_power
        journey.least_slip[:, self.index] = self.least_slip
        journey.last_slip[:, self.index] = self.last_slip

"""Lanes on their way, each at its own pace, and what is watched of them."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.physics.transit.course import Course, Index
from stager.physics.transit.equations import Slopes, over_sides
from stager.physics.transit.trail import Trail, least


@dataclass(slots=True)
class Pool:
    """Lanes under way; last axis of all: these lanes.

    index: which lanes of the trail; number: which segment each is in; place: its parameter, 0 to 1; size: next step in
    it; most: how much longer the step after that may be; jammed; ended: jammed or at the segment's end, to be looked
    at there; over: ended for good, moves no more; state, shape (rows, lanes); greatest |thrust| [N] and slip power
    [W], lowest and highest slip of each side [m/s], in this segment.
    """

    index: Index
    number: Index
    place: Floats
    size: Floats
    most: Floats
    jammed: NDArray[np.bool_]
    ended: NDArray[np.bool_]
    over: NDArray[np.bool_]
    state: Floats
    thrust: Floats
    slip_power: Floats
    low_slip: Floats
    high_slip: Floats

    @classmethod
    def start(cls, trail: Trail, course: Course, index: Index, size: float) -> Pool:
        """Lanes `index` at the start of their first segment."""
        count, sides = index.size, trail.exit_slip.shape[1]
        return cls(
            index=index, number=course.after[0, index], place=np.zeros(count), size=np.full(count, size),
            most=np.full(count, np.inf), jammed=np.zeros(count, bool), ended=np.zeros(count, bool),
            over=np.zeros(count, bool), state=trail.state[0][:, index], thrust=np.zeros(count),
            slip_power=np.zeros(count), low_slip=np.full((sides, count), np.inf),
            high_slip=np.full((sides, count), -np.inf),
        )  # fmt: skip

    def take(self, chosen: Index) -> Pool:
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
        np.fmax(self.thrust, np.abs(now.thrust), out=self.thrust)
        np.fmax(self.slip_power, over_sides(now.rubbing()), out=self.slip_power)
        np.minimum(self.low_slip, now.slip, out=self.low_slip)
        np.maximum(self.high_slip, now.slip, out=self.high_slip)

    def note(self, trail: Trail, chosen: Index, slip: Floats, place: Floats) -> None:
        """Write down the chosen lanes where their segment has ended, with their slips and places [m] there."""
        number, index = self.number[chosen], self.index[chosen]
        trail.state[number + 1, :, index] = self.state[:, chosen].T
        trail.jammed[number + 1, index] = self.jammed[chosen]
        trail.thrust[number, index] = self.thrust[chosen]
        trail.slip_power[number, index] = self.slip_power[chosen]
        trail.least_slip[number, :, index] = least(self.low_slip[:, chosen], self.high_slip[:, chosen]).T
        trail.exit_slip[number, :, index] = slip[:, chosen].T
        trail.place[index] = place[chosen]

    def move_on(self, course: Course, chosen: Index, size: float) -> None:
        """The chosen lanes go on to the start of their next segment; those that jammed or have none are over."""
        after = course.after[self.number[chosen] + 1, self.index[chosen]]
        stays = self.jammed[chosen] | (after == len(course.segments))
        rests, goes = chosen[stays], chosen[~stays]
        self.ended[chosen] = False
        self.over[rests], self.size[rests] = True, 0.0
        self.number[goes], self.place[goes], self.size[goes], self.most[goes] = after[~stays], 0.0, size, np.inf
        self.thrust[goes] = self.slip_power[goes] = 0.0
        self.low_slip[:, goes], self.high_slip[:, goes] = np.inf, -np.inf

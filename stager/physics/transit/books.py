"""Contact time, works and heats over a step: they act on nothing, so their stages need not be mixed one by one."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats
from stager.physics.transit.drift import Drift
from stager.physics.transit.equations import Lanes, Slopes, turn_back
from stager.physics.transit.scheme import TOTAL_DRIFT


class Books:
    """Sums over the stages of a step that begins with the rates `now`; pace: its t over v, see `Implicit`."""

    def __init__(self, lanes: Lanes, now: Slopes, pace: Floats) -> None:
        self.lanes, self.now, self.pace = lanes, now, pace
        self.time = np.zeros_like(now.speed)
        self.work, self.heat, self.forces = np.zeros((3, *now.force.shape))

    def add(self, weight: Floats, at: Slopes, rubbing: Floats, pace: Floats, force: Floats) -> None:
        """A stage, with its own pace; rubbing: its slip powers [W]; force: the increments of the forces."""
        share = pace * weight
        self.time += share
        given = at.force * at.wheel
        given *= share
        self.work += given
        self.heat += rubbing * share
        self.forces += weight * force

    def close(self, gained: Floats, along: Drift, turned: Floats, bent: Floats, before: Floats, out: Floats) -> None:
        """Books at the end from those `before`, into `out`; gained: increments of the state, weighed as the stages;
        turned, bent: what derivatives by the place, and rates, are multiplied by in the stages' drift."""
        now, sides, pace = self.now, self.lanes.sides, self.pace
        count = len(now.force)
        wheel = gained[sides.wheels]
        slip = wheel - now.cosine * gained[0]
        if sides.turns:
            turn_back(sides, slip, self.lanes.radius * gained[1])
        common = TOTAL_DRIFT * bent - pace / now.speed * gained[0]
        turned = TOTAL_DRIFT * turned
        more = common * now.force + pace * self.forces + turned * along.force
        pressed = pace * now.force
        out[0] = before[0] + (self.time + common)
        out[1 : 1 + count] = before[1 : 1 + count] + (self.work + (more * now.wheel + pressed * wheel))
        heat = more * now.slip + (pressed * slip + turned * now.force * along.slip)
        out[1 + count :] = before[1 + count :] + (self.heat + heat)

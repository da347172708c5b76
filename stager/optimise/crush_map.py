"""Chains of maps whose crush is open too: what lies between the crushes that maps were made for is interpolated."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from stager.model.arrays import Floats
from stager.model.requirements import LimitValues
from stager.optimise.chain_map import ChainMap, ChainRun
from stager.optimise.solve import LEAST_SETTING

HARDLY = 1e-9


@dataclass(slots=True)
class CrushMap:
    """Searched as `ChainMap` is. Settings are a share for each wheel, then the places of the crush between its ends,
    from LEAST_SETTING to 1: one place for all stages, or one a stage.

    nodes: maps for crushes that rise evenly; stages: how many there are; smooth: by one curve through all of them, else
    by straight lines, as where what is open to a wheel may end at a jump of peak acceleration.
    """

    nodes: Sequence[ChainMap]
    stages: int
    smooth: bool = True
    samples: int = 3000
    _place: Floats = field(default_factory=lambda: np.zeros((1, 1)))

    @property
    def feed(self) -> float:
        """See Chains."""
        return self.nodes[0].feed

    def run(self, settings: Floats, grip: Floats | None = None) -> ChainRun:
        """See Chains."""
        place = np.clip((settings[:, self.stages :] - LEAST_SETTING) / (1 - LEAST_SETTING), 0.0, 1.0)
        self._place = np.broadcast_to(place, (len(settings), self.stages))

        def wheel(node: ChainMap, index: int, anchors: Floats) -> Floats:
            return node.wheel(index, anchors, settings[:, index], 1.0 if grip is None else float(grip[index]))

        return self._chain(wheel)

    def at(self, wheel_speed: Floats) -> ChainRun:
        """Chains at wheel speeds [m/s], shape (lanes, stages), at the crush of those that were run last."""
        return self._chain(lambda node, index, anchors: wheel_speed[:, index])

    def under(self, limit_values: LimitValues, most: int) -> CrushMap:
        """See Chains."""
        return CrushMap([node.under(limit_values, most) for node in self.nodes], most, self.smooth)

    def grips(self, exit_speed: Floats, share: Floats) -> Floats:
        """Grip limits [m/s]: see Chains. They are looked for once a crush is chosen, not here."""
        raise NotImplementedError("grip limits at an open crush are not asked for")

    def _chain(self, choose: Callable[[ChainMap, int, Floats], Floats]) -> ChainRun:
        lanes = len(self._place)
        found = np.zeros((lanes, self.stages, 5))
        through = np.ones(lanes, bool)
        speed, share = np.full(lanes, self.feed), np.zeros(lanes)
        for k in range(self.stages):
            weights = _weights(self._place[:, k], len(self.nodes), smooth=self.smooth)
            turning = np.zeros(lanes)
            for node, weight in zip(self.nodes, weights, strict=True):
                chart, entry = node.stage(k), node.enter(k, speed)
                near = chart.near(entry, share)
                anchors = chart.anchors(near)
                wheel = choose(node, k, anchors)
                passed = chart.run(near, entry, wheel, anchors)
                parts = wheel, passed.exit_speed, anchors[:, 3], passed.slip_heat, passed.peak_acceleration
                found[:, k] += weight[:, None] * np.stack(parts, axis=-1)
                turning += weight * passed.share
                through &= passed.through | (np.abs(weight) < HARDLY)
            speed, share = found[:, k, 1], turning
        wheels, leaving, limits, heats, peaks = np.moveaxis(found, -1, 0)
        return ChainRun(wheels, leaving, limits, heats, peaks, through)


def _weights(place: Floats, count: int, *, smooth: bool) -> Floats:
    """Weights of evenly spaced nodes at `place` from 0 to 1, shape (count, lanes): Lagrange's, or of straight lines."""
    at = place * (count - 1)
    if not smooth:
        return np.asarray(np.maximum(1.0 - np.abs(at - np.arange(count)[:, None]), 0.0))
    weights = np.ones((count, place.size))
    for node in range(count):
        for other in range(count):
            if other != node:
                weights[node] *= (at - other) / (node - other)
    return weights

"""Fixed wheel speeds thrown through launchers as they may really be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints import LIMITS, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.optimise.draws import draw
from stager.optimise.foretold import COUPLED
from stager.physics.batch import flatten
from stager.physics.chain import throw
from stager.physics.options import Options
from stager.physics.records import Throw

ROUGH = Options(tolerance=1e-4)
THROWN = frozenset(("exit_energy", "exit_speed", "energy_per_area", "acceleration", "slip_heat"))
NEAR = 0.1
"""Limits that stages share are looked at where the nominal design is as near to them [-]."""


@dataclass(frozen=True, slots=True)
class Crowd:
    """Launchers in lanes, lane 0 the nominal one."""

    launcher: Launcher
    lanes: int

    def throw(self, wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Throw:
        """Throws at wheel speeds [m/s], shape (candidates, stages), side B's where pairs run two: arrays
        (candidates, lanes, ...)."""
        each = np.ones((self.lanes, 1))
        other = None if wheel_speed_b is None else wheel_speed_b[:, None, :] * each
        return throw(self.launcher, wheel_speed[:, None, :] * each, other, options=ROUGH)


def crowd(scenario: Scenario, count: int, rng: np.random.Generator) -> Crowd:
    """`count` draws of what the scenario is unsure of, behind the nominal launcher."""
    draws = draw(scenario, count, rng)
    return Crowd(flatten(draws.launcher, (draws.lanes,)), draws.lanes)


def kept(scenario: Scenario, people: Crowd, done: Throw, near: OperatingPoint) -> Floats:
    """1 for each throw that keeps the limits on it and those near which the nominal design `near` is, else 0."""
    design = OperatingPoint(launcher=people.launcher, limit_values=scenario.limit_values, throw=done)
    fine = ~done.jammed
    for limit in LIMITS:
        if limit.name not in THROWN and limit.name not in COUPLED:
            continue
        if limit.name in COUPLED and ((here := evaluate(limit, near)) is None or float(np.min(here.slack)) > NEAR):
            continue
        if (verdict := evaluate(limit, design)) is not None:
            fine = fine & (np.broadcast_to(verdict.slack, fine.shape) >= -1e-6)
    return fine.astype(np.float64)

"""Limits that all stages keep together and that only the true model knows: power, supply, heat, settled speeds.

What a design uses of such a limit is foretold from what is quick to know, the rest is taken to go with powers of the
wheel speeds about a design that was looked at closely.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.constraints import OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.requirements import LimitValues
from stager.model.scenario import Scenario
from stager.optimise.chain_map import ChainRun
from stager.optimise.foretold import COUPLED, HELD, LEAST, Foreteller, foreteller
from stager.optimise.solve import Chains
from stager.optimise.spun import sides, way_of
from stager.physics.chain import throw
from stager.physics.options import Options

KEPT, STEP, STEEPEST = 1e-6, 0.02, 50.0
TRUE = Options(tolerance=2e-6)
EXACT, FAR = HELD - {"average_power"}, 0.1


@dataclass(frozen=True, slots=True)
class Law:
    """Coupled limits about a design at `wheel_speed` [m/s], (stages,), looked at closely.

    used and allowed, in the limits' units; sign: −1 for a floor; foretold: what was foretold of `used` there, all
    (limits,); powers of each wheel speed in used/foretold, (limits, stages).
    """

    foreteller: Foreteller
    wheel_speed: Floats
    used: Floats
    allowed: Floats
    sign: Floats
    foretold: Floats
    powers: Floats

    def under(self, limit_values: LimitValues) -> Law:
        """The same with what is allowed by `limit_values`."""
        given = [getattr(limit_values, name, None) for name in self.foreteller.names]
        allowed = [old if new is None else new for old, new in zip(self.allowed, given, strict=True)]
        return replace(self, allowed=np.array(allowed))

    @property
    def broken(self) -> float:
        """By how much the limits are broken there, in all [-]."""
        slack = self.sign * (self.allowed - self.used) / np.abs(self.allowed)
        return float(np.maximum(-slack - KEPT, 0.0).sum())

    def slacks(self, run: ChainRun, reach: float) -> Floats:
        """Slacks of chains, a little inside: of the limits, then of how far each wheel is from the design looked at,
        up to `reach` [ln], (lanes, limits + stages)."""
        moved = np.log(np.maximum(run.wheel_speed, 1e-6) / self.wheel_speed)
        ratio = self.used / self.foretold * np.exp(np.clip(moved @ self.powers.T, -20.0, 20.0))
        expected = self.foreteller(run)
        used = np.where(self.foreteller.offsets > 0, expected + self.used - self.foretold, ratio * expected)
        slack = self.sign * (self.allowed - used) / np.abs(self.allowed) - 2 * KEPT
        return np.hstack([slack, reach - np.abs(moved)])


def look_closely(scenario: Scenario, chains: Chains, wheel_speed: Floats) -> Law | None:
    """Coupled limits in the true model at wheel speeds [m/s], (stages,), and about there; None where none is set."""
    count = wheel_speed.size
    here = _design(scenario, wheel_speed[None])
    near = [verdict for limit in COUPLED.values() if (verdict := evaluate(limit, here)) is not None]
    if not near:
        return None
    # What only set speeds decide is foretold as it is, what is far off need not be known well.
    steps = any(verdict.name not in EXACT and float(np.min(verdict.slack)) < FAR for verdict in near)
    speeds = wheel_speed * np.vstack([np.ones(count), 1 + STEP * np.eye(count)] if steps else [np.ones(count)])
    design = _design(scenario, speeds) if steps else here
    found = [evaluate(COUPLED[verdict.name], design) or verdict for verdict in near] if steps else near
    mapped, names = chains.at(speeds), tuple(verdict.name for verdict in found)
    foretell = foreteller(scenario, chains, names, mapped, _missing(design))
    expected = foretell(mapped)
    used = np.stack([np.broadcast_to(verdict.value, len(speeds)) for verdict in found], axis=1)
    used = np.where(foretell.offsets > 0, used, np.maximum(used, LEAST))
    ratio = np.where(foretell.offsets > 0, 1.0, used / np.where(expected != 0, expected, LEAST))
    powers = np.zeros((len(found), count))
    if steps:
        powers = np.clip(np.log(ratio[1:] / ratio[0]) / np.log(1 + STEP), -STEEPEST, STEEPEST).T
    floors = np.array([COUPLED[verdict.name].floor for verdict in found])
    return Law(
        foreteller=foretell, wheel_speed=wheel_speed, used=used[0],
        allowed=np.array([float(np.max(verdict.bound)) for verdict in found]), sign=np.where(floors, -1.0, 1.0),
        foretold=np.where(expected[0] != 0, expected[0], LEAST),
        powers=powers,
    )  # fmt: skip


def _design(scenario: Scenario, speeds: Floats) -> OperatingPoint:
    way = way_of(scenario.launcher, scenario.limit_values, scenario.goal.spin)
    done = throw(scenario.launcher, *sides(way, scenario.launcher, speeds, TRUE), options=TRUE)
    return OperatingPoint(launcher=scenario.launcher, limit_values=scenario.limit_values, throw=done, options=TRUE)


def _missing(design: OperatingPoint) -> Floats:
    """Share of its set speed that each stage's wheels lack when a settled throw begins, (stages,)."""
    found = np.zeros(design.count)
    settled = design.settled
    if settled is not None:
        stages = np.array(settled.rhythm.train.stage)
        for k in range(design.count):
            found[k] = settled.missing[0, stages == k].mean()
    return found

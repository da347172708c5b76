"""What chains are about to use of limits that only the true model knows well: quick, near enough to be corrected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.constraints import LIMITS, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.chain_map import ChainRun
from stager.optimise.solve import Chains
from stager.optimise.spun import gap
from stager.optimise.still import still
from stager.physics.motion import translation_energy

COUPLED = {
    limit.name: limit
    for limit in LIMITS
    if limit.name
    in ("throttle", "average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss")
}
HELD = frozenset(("throttle", "peak_power", "supply_current", "average_power"))
"""Those that the set speeds decide: exactly, or, for average power, but for what throwing adds."""
LEAST, LARGEST = 1e-12, 0.5


@dataclass(frozen=True, slots=True)
class Foreteller:
    """names of the limits; lack: what each stage's wheels lacked of their set speed when a throw began at the rate, by
    the share of their own energy that a throw took, (stages,), as it was seen last."""

    scenario: Scenario
    chains: Chains
    names: tuple[str, ...]
    lack: Floats

    @property
    def offsets(self) -> Floats:
        """1 for limits whose use is off by a sum rather than by a factor, (limits,)."""
        return np.array([float(name == "settled_loss") for name in self.names])

    def __call__(self, run: ChainRun) -> Floats:
        """About what the chains use, (lanes, limits); 1 where nothing is known beforehand."""
        launcher = self.scenario.launcher
        bare = replace(launcher, feed=replace(launcher.feed, rate=None))
        held = still(run.wheel_speed, self._slower(run))
        design = OperatingPoint(launcher=bare, limit_values=self.scenario.limit_values, throw=held)
        out = np.ones((len(run.wheel_speed), len(self.names)))
        for column, name in enumerate(self.names):
            if name in HELD and (verdict := evaluate(COUPLED[name], design)) is not None:
                out[:, column] = np.maximum(verdict.value, LEAST)
            if name == "average_power" and launcher.feed.rate is not None:
                out[:, column] += launcher.feed.rate * self._taken(run).sum(axis=1)
            if name == "settled_loss":
                out[:, column] = self._loss(run)
        return out

    def _slower(self, run: ChainRun) -> Floats | None:
        """About the speeds of the wheels that do not lead [m/s], None: as the others."""
        launcher, spin = self.scenario.launcher, self.scenario.goal.spin
        return np.maximum(run.wheel_speed - gap(launcher, spin), 0.0) if spin else None

    def _taken(self, run: ChainRun) -> Floats:
        """What a throw takes from the wheels of each stage, crush apart [J], (lanes, stages)."""
        launcher = self.scenario.launcher
        energy = np.asarray(translation_energy(run.exit_speed, launcher.projectile))
        fed = np.full((len(energy), 1), translation_energy(launcher.feed.speed, launcher.projectile))
        return np.asarray(np.diff(energy, axis=1, prepend=fed) + run.slip_heat)

    def missing(self, run: ChainRun) -> Floats:
        """Share of its set speed that each stage's wheels lack when a settled throw begins, (lanes, stages)."""
        return np.asarray(np.clip(self.lack * self._taken(run) / run.wheel_speed**2, -LARGEST, LARGEST))

    def _loss(self, run: ChainRun) -> Floats:
        """Share of exit speed that wheels lose which are not quite back at their speeds, (lanes,)."""
        slower = self.chains.at(run.wheel_speed * (1 - self.missing(run))).exit_speed[:, -1]
        return np.asarray(1 - slower / np.maximum(run.exit_speed[:, -1], LEAST))


def foreteller(
    scenario: Scenario, chains: Chains, names: tuple[str, ...], run: ChainRun, missing: Floats
) -> Foreteller:
    """By what the wheels of the first lane of `run` were seen to lack, `missing` (stages,) [-]."""
    plain = Foreteller(scenario, chains, names, np.ones(missing.size))
    share = plain.missing(run)[0]
    return replace(plain, lack=missing / np.where(np.abs(share) > LEAST, share, np.inf))

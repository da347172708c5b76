"""The ladder over launchers as they may really be: every draw climbs it, tuned anew on each rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.hardware.wish import Aim
from stager.limits import LIMITS, Design, judge
from stager.physics.chain import throw
from stager.physics.options import Options
from stager.staging.draws import Draws, draw
from stager.staging.records import Settings
from stager.staging.retune import Bench, own_cap
from stager.staging.span import span

SHARED = frozenset(
    ("slip_heat", "average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss", "throttle")
)
"""Limits that all stages keep together."""
HALVINGS, FARTHEST = 8, 2.0
ROUGH = Options(tolerance=1e-4)
LEAST_EXIT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """Exit speed [m/s] of every draw on every rung, shape (rungs, draws), and what was drawn."""

    draws: Draws
    exit_speed: Floats

    @property
    def gain(self) -> Floats:
        """What each rung adds to the one below, as a share of that, shape (rungs − 1, draws)."""
        below = np.maximum(self.exit_speed[:-1], LEAST_EXIT)
        return self.exit_speed[1:] / below - 1


def odds(scenario: Scenario, climbed: Sequence[Settings], count: int, rng: np.random.Generator) -> Odds | None:
    """`count` draws up the ladder of `climbed`; None where nothing is uncertain.

    Every draw tunes its wheels for itself under the limits of each stage. Limits that all stages share slow its
    wheels along the line on which they slow the nominal ones, as far as it needs. Nothing leaves faster than its own
    mass may under the limits.
    """
    if not scenario.uncertain and not scenario.draws:
        return None
    draws = draw(scenario, count, rng)
    bench = _bench(scenario, draws, climbed)
    goal = scenario.goal
    asked = np.inf if goal.aim is Aim.FASTEST or goal.exit_speed is None else goal.exit_speed
    cap = own_cap(draws.launcher, scenario.allowances, draws.lanes, asked)
    rungs = [bench.speed.copy()]
    for settings in climbed[1:]:
        bench.add(bench.speed < cap)
        free = bench.speed if _lone(settings) else _together(scenario, draws, bench, settings)
        # A stage may be left out.
        rungs.append(np.maximum(np.minimum(free, cap), rungs[-1]))
    return Odds(draws=draws, exit_speed=np.array(rungs)[:, 1:])


def _bench(scenario: Scenario, draws: Draws, climbed: Sequence[Settings]) -> Bench:
    """Lane 0 has its grip limits near those of the nominal chain, or above them where that is slowed by a cap."""
    allowances = scenario.allowances
    longest = climbed[-1]
    near = []
    for k in range(longest.count):
        limits = [found.grip_limit[k] for found in climbed if found.count > k and np.isfinite(found.grip_limit[k])]
        near.append(max(limits) if limits else float(np.max(span(scenario.launcher, allowances, k).top)))
    strains = [allowances.acceleration, draws.launcher.projectile.max_acceleration]
    strain = np.min(np.broadcast_arrays(np.full(draws.lanes, np.inf), *(s for s in strains if s is not None)), axis=0)
    return Bench(draws.launcher, allowances, draws.lanes, strain, np.array(near))


def _lone(settings: Settings) -> bool:
    """Whether no shared limit holds the nominal chain back."""
    return all(float(verdict.slack) > 2e-3 for verdict in settings.verdicts if verdict.name in SHARED)


def _together(scenario: Scenario, draws: Draws, bench: Bench, settings: Settings) -> Floats:
    """Exit speeds [m/s] with wheels slowed until shared limits are kept, (lanes,)."""
    fastest = np.stack(bench.wheel_speed, axis=-1)
    # A draw that is at its cap before this stage has no setting of its own for it: it takes one that is known.
    known = np.where(np.isnan(fastest[0]), settings.wheel_speed, fastest[0])
    fastest = np.where(np.isnan(fastest), known, fastest)
    way = np.minimum(np.log(settings.wheel_speed / fastest[0]), 0.0)
    limits = [limit for limit in LIMITS if limit.name in SHARED]
    low, high = np.zeros(draws.lanes), np.full(draws.lanes, FARTHEST)
    speed = np.zeros(draws.lanes)
    for step in range(HALVINGS + 1):
        at = np.zeros(draws.lanes) if step == 0 else (low + high) / 2
        done = throw(draws.launcher, fastest * np.exp(at[:, None] * way), options=ROUGH)
        design = Design(launcher=draws.launcher, allowances=scenario.allowances, throw=done, options=ROUGH)
        found = [judge(limit, design) for limit in limits]
        slacks = [np.broadcast_to(verdict.slack, at.shape) for verdict in found if verdict is not None]
        kept = np.min(slacks, axis=0) >= 0 if slacks else np.ones(at.shape, bool)
        if step == 0:
            high = np.where(kept, 0.0, high)
        low, high = np.where(kept, low, at), np.where(kept, np.minimum(at, high), high)
        speed = np.where(kept, np.maximum(speed, done.exit_speed), speed)
    return np.asarray(speed)

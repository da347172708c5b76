"""The ladder over launchers as they may really be: every draw climbs it, tuned anew on each rung."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from stager.constraints import LIMITS, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import Aim, LimitValues
from stager.model.scenario import Scenario
from stager.optimise.draws import Draws, draw
from stager.optimise.records import Settings
from stager.optimise.retune import Bench, own_cap
from stager.optimise.span import span
from stager.optimise.spun import sides, turns, way_of
from stager.optimise.way import Way
from stager.parallel import Executor
from stager.physics.batch import flatten, take
from stager.physics.chain import throw
from stager.physics.options import Options

SHARED = frozenset(
    ("slip_heat", "average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss", "throttle")
)
"""Limits that all stages keep together."""
TRIES, FARTHEST, INSIDE = 4, 2.0, 5e-4
ROUGH = Options(tolerance=1e-4)
LEAST_EXIT = 1e-6
CHUNK, SHARED_OUT = 400, 2
"""Up to so many draws are worked on together: fewer each cost more, as steps are shared. Where there are others to work
they are cut in so many parts at least; answers do not depend on it, as no lane depends on another."""


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


def odds(
    scenario: Scenario, climbed: Sequence[Settings], count: int, rng: np.random.Generator,
    executor: Executor | None = None,
) -> Odds | None:  # fmt: skip
    """`count` draws up the ladder of `climbed`; None where nothing is uncertain.

    Every draw tunes its wheels for itself under the limits of each stage. Limits that all stages share slow its
    wheels along the line on which they slow the nominal ones, as far as it needs. Nothing leaves faster than its own
    mass may under the limits. executor: who works on chunks of draws.
    """
    return begin(scenario, climbed, count, rng, executor)()


def begin(
    scenario: Scenario, climbed: Sequence[Settings], count: int, rng: np.random.Generator,
    executor: Executor | None = None,
) -> Callable[[], Odds | None]:  # fmt: skip
    """`odds`, begun where there is an executor; what is given back waits for it."""
    if not scenario.uncertain and not scenario.draws:
        return lambda: None
    executor = executor or Executor()
    draws = draw(scenario, count, rng)
    begun = executor.start_map(_climbed, _chunks(scenario, draws, climbed, 1 if executor.pool is None else SHARED_OUT))
    return lambda: Odds(draws=draws, exit_speed=np.hstack(begun()))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rung:
    """Speeds of the nominal chain's leading wheels [m/s], (stages,), and whether no shared limit holds it back."""

    wheel_speed: Floats
    lone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chunk:
    """Some draws, behind the nominal launcher as lane 0. near, way: see Bench; cap [m/s], strain [m/s^2]: (lanes,)."""

    launcher: Launcher
    limit_values: LimitValues
    near: Floats
    cap: Floats
    strain: Floats
    rungs: tuple[_Rung, ...]
    way: Way


def _chunks(scenario: Scenario, draws: Draws, climbed: Sequence[Settings], least: int) -> list[_Chunk]:
    """At least so many chunks, as even as can be: a few lanes alone are looked at more closely than many."""
    limit_values, goal = scenario.limit_values, scenario.goal
    asked = np.inf if goal.aim is Aim.FASTEST or goal.exit_speed is None else goal.exit_speed
    cap = own_cap(draws.launcher, limit_values, draws.lanes, asked)
    strains = [limit_values.acceleration, draws.launcher.projectile.max_acceleration]
    strain = np.min(np.broadcast_arrays(np.full(draws.lanes, np.inf), *(s for s in strains if s is not None)), axis=0)
    rungs = tuple(_Rung(wheel_speed=settings.lead, lone=_lone(settings)) for settings in climbed[1:])
    way = way_of(scenario.launcher, limit_values, goal.spin)
    flat, near = flatten(draws.launcher, (draws.lanes,)), _near(scenario, climbed)
    parts = np.array_split(np.arange(1, draws.lanes), max(least, -(-(draws.lanes - 1) // CHUNK)))
    chosen = [np.append(0, part) for part in parts]
    return [
        _Chunk(launcher=take(flat, who), limit_values=limit_values, near=near, cap=cap[who], strain=strain[who],
               rungs=rungs, way=way) for who in chosen
    ]  # fmt: skip


def _climbed(chunk: _Chunk) -> Floats:
    """Exit speeds [m/s] of the chunk's draws on every rung, (rungs, draws)."""
    lanes = chunk.cap.size
    bench = Bench(chunk.launcher, chunk.limit_values, lanes, chunk.strain, chunk.near, chunk.way)
    rungs = [bench.speed.copy()]
    for rung in chunk.rungs:
        bench.add(bench.speed < chunk.cap)
        free = bench.speed if rung.lone else _together(chunk, bench, rung.wheel_speed)
        # A stage may be left out.
        rungs.append(np.maximum(np.minimum(free, chunk.cap), rungs[-1]))
    return np.array(rungs)[:, 1:]


def _near(scenario: Scenario, climbed: Sequence[Settings]) -> Floats:
    """Where lane 0 has its grip limits [m/s]: near those of the nominal chain, or above them where that is slowed by a
    cap."""
    near = []
    for k in range(climbed[-1].count):
        limits = [found.grip_limit[k] for found in climbed if found.count > k and np.isfinite(found.grip_limit[k])]
        near.append(max(limits) if limits else float(np.max(span(scenario.launcher, scenario.limit_values, k).top)))
    return np.array(near)


def _lone(settings: Settings) -> bool:
    """Whether no shared limit holds the nominal chain back."""
    return all(float(verdict.slack) > 2e-3 for verdict in settings.verdicts if verdict.name in SHARED)


def _together(chunk: _Chunk, bench: Bench, wheel_speed: Floats) -> Floats:
    """Exit speeds [m/s] with wheels slowed until shared limits are kept, (lanes,)."""
    fastest = np.stack(bench.wheel_speed, axis=-1)
    # A draw that is at its cap before this stage has no setting of its own for it: it takes one that is known.
    known = np.where(np.isnan(fastest[0]), wheel_speed, fastest[0])
    fastest = np.where(np.isnan(fastest), known, fastest)
    slower = np.minimum(np.log(wheel_speed / fastest[0]), 0.0)
    slack, speed = _shared(chunk, chunk.launcher, fastest)
    speed = np.where(slack >= 0, speed, 0.0)
    # Draws that keep the limits as they are need no slowing.
    who = np.flatnonzero(slack < 0)
    low, high, broken, spare = np.zeros(who.size), np.full(who.size, FARTHEST), slack[who], np.full(who.size, np.nan)
    here = take(chunk.launcher, who)
    for _ in range(TRIES if who.size else 0):
        share = (INSIDE - broken) / np.where(spare > broken, spare - broken, np.nan)
        at = low + (high - low) * np.clip(np.nan_to_num(share, nan=0.5), 0.02, 0.98)
        slack, reached = _shared(chunk, here, fastest[who] * np.exp(at[:, None] * slower))
        kept = slack >= 0
        low, broken = np.where(kept, low, at), np.where(kept, broken, slack)
        high, spare = np.where(kept, at, high), np.where(kept, slack, spare)
        speed[who] = np.where(kept, np.maximum(speed[who], reached), speed[who])
    return np.asarray(speed)


def _shared(chunk: _Chunk, launcher: Launcher, lead: Floats) -> tuple[Floats, Floats]:
    """Least slack of the shared limits [-] with leading wheels at `lead` [m/s], (lanes, stages), and the exit speed
    [m/s]."""
    done = throw(launcher, *sides(chunk.way, launcher, lead, ROUGH), options=ROUGH)
    # Slowed too much, some no longer make the spin that is asked for.
    speed = np.where(turns(chunk.way, done), done.exit_speed, 0.0)
    design = OperatingPoint(launcher=launcher, limit_values=chunk.limit_values, throw=done, options=ROUGH)
    found = [evaluate(limit, design) for limit in LIMITS if limit.name in SHARED]
    slacks = [np.broadcast_to(verdict.slack, done.exit_speed.shape) for verdict in found if verdict is not None]
    return (np.min(slacks, axis=0) if slacks else np.ones(done.exit_speed.shape)), speed

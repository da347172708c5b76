"""Tune every draw of a launcher anew on each number of stages, as a bench would."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, exit_cap, speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.scenario import Scenario
from stager.optimise.spin import sides, turns, way_of
from stager.optimise.uncertainty import Draws, draw, is_uncertain
from stager.parallel import Executor
from stager.physics.chain import throw
from stager.physics.grip_limit import Looks, Way, grip_limit
from stager.physics.options import Options
from stager.physics.relay import run_up
from stager.physics.transit.lanes import flatten, take

TUNED, LOOKED = Options(tolerance=1e-4), Options(tolerance=3e-4, books=False)
FIRST, LATER = (0.6, 1.55), (0.75, 1.35)
"""Where a draw's grip limit is looked for, as multiples of where it is expected: in the first stage, and behind it."""
LOOKS = Looks(2, close=(-0.3, -0.03, 0.0, 0.03, 0.3), crossing=6)
CHUNK = 200
"""Draws that are worked on together, whoever works: answers do not depend on it."""
TRIES, FARTHEST, INSIDE = 6, 3.0, 2e-4
LEAST_EXIT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """Exit speed [m/s] of every draw with each number of stages, shape (stages + 1, draws), and what was drawn."""

    draws: Draws
    exit_speed: Floats

    def gain(self, count: int, more: int = 1) -> Floats:
        """Return what `more` stages add to `count` of them, as a share, shape (draws,)."""
        below = np.maximum(self.exit_speed[count], LEAST_EXIT)
        return np.asarray(self.exit_speed[count + more] / below - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A number of stages to tune: the scenario with its parts, the leading wheels' speeds of the nominal design [m/s]
    and of the nominal launcher tuned freely stage by stage [m/s], both (stages,)."""

    scenario: Scenario
    lead: Floats


@dataclass(frozen=True, slots=True)
class _Chunk:
    steps: tuple[tuple[Launcher, Floats], ...]
    limit_values: LimitValues
    spin: float | None
    asked: float
    margins: Mapping[str, float]


def tune(
    steps: Sequence[Step], count: int, rng: np.random.Generator, margins: Mapping[str, float], executor: Executor | None = None
) -> Callable[[], Tuned | None]:
    """Begin to tune `count` draws with 1, 2, … stages; what is given back waits for it; None where nothing is uncertain.

    Every draw runs each stage at its own grip limit less the margin, or where it throws fastest; where that breaks a
    limit, all wheels are slowed along the line on which the nominal design is slower than the free one. The reserves
    of hard limits are kept as in the nominal design.
    """
    if not steps or not is_uncertain(steps[0].scenario):
        return lambda: None
    scenario = steps[0].scenario
    state = rng.bit_generator.state
    launchers: list[Launcher] = []
    drawn: Draws | None = None
    for step in steps:
        rng.bit_generator.state = state
        drawn = draw(step.scenario, count, rng)
        launchers.append(flatten(drawn.launcher, (drawn.lanes,)))
    assert drawn is not None
    parts = np.array_split(np.arange(1, drawn.lanes), max(-(-count // CHUNK), 1))
    asked = scenario.goal.asked or np.inf
    chunks = [
        _Chunk(
            tuple((take(launcher, np.append(0, part)), step.lead) for launcher, step in zip(launchers, steps, strict=True)),
            scenario.limit_values, scenario.goal.spin, asked, margins,
        )
        for part in parts
    ]  # fmt: skip
    begun = (executor or Executor()).start_map(_tuned, chunks)
    return lambda: Tuned(draws=drawn, exit_speed=np.hstack(begun()))


def _tuned(chunk: _Chunk) -> Floats:
    """Exit speeds [m/s] of the chunk's draws with 0, 1, 2 … stages, (stages + 1, draws)."""
    out: list[Floats] = []
    bench: _Bench | None = None
    for count, (launcher, lead) in enumerate(chunk.steps, 1):
        if bench is None or not _continues(bench.launcher, launcher, count):
            bench = _Bench(launcher, chunk, lead)
        while len(bench.wheels) < count:
            bench.add(lead)
        if not out:
            out.append(bench.feed)
        cap = np.minimum(exit_cap(launcher, chunk.limit_values, chunk.margins), chunk.asked)
        reached = np.minimum(bench.kept(lead), cap)
        # A stage may be left out.
        out.append(np.maximum(reached, out[-1]))
    return np.array(out)[:, 1:]


def _continues(before: Launcher, after: Launcher, count: int) -> bool:
    """Whether the first stages of two launchers are alike."""
    return all(before.stage(k) is after.stage(k) for k in range(count)) or before is after


class _Bench:
    """Draws of a launcher, tuned stage by stage; lane 0 is the nominal one."""

    def __init__(self, launcher: Launcher, chunk: _Chunk, lead: Floats) -> None:
        self.launcher, self.chunk = launcher, chunk
        self.way: Way = way_of(take(launcher, np.zeros(1, int)), chunk.limit_values, chunk.spin)
        lanes = max(np.size(launcher.projectile.mass), np.size(launcher.feed.speed), _lanes(launcher))
        self.feed = np.broadcast_to(np.asarray(launcher.feed.speed, dtype=np.float64), (lanes,)).copy()
        self.speed, self.spin, self.drift = self.feed.copy(), np.zeros(lanes), np.ones(lanes)
        self.wheels: list[Floats] = []
        self.lanes = lanes

    def add(self, lead: Floats) -> None:
        """Tune one more stage freely."""
        index, launcher, limit_values = len(self.wheels), self.launcher, self.chunk.limit_values
        who = np.flatnonzero(self.speed > 0)
        wheel = np.zeros(self.lanes)
        if who.size:
            here = take(launcher, who)
            speed = run_up(here, index, self.speed[who], np.ones(1)) if index else self.speed[who]
            top = np.broadcast_to(speed_range(here, limit_values, index, self.chunk.margins).top, speed.shape)
            near = None if index == 0 else self.near * self.drift[who]
            if near is None:
                first = take(here, np.zeros(1, int))
                centre = grip_limit(first, index, speed[:1], self.spin[who][:1], top[:1], way=self.way)
                near = np.full(speed.shape, float(np.nan_to_num(centre.wheel_speed[0], nan=float(top[0]))))
            else:
                first = take(here, np.zeros(1, int))
                centre = grip_limit(first, index, speed[:1], self.spin[who][:1], top[:1], way=self.way)
                near = near / near[0] * float(np.nan_to_num(centre.wheel_speed[0], nan=float(top[0])))
            found = grip_limit(
                here, index, speed, self.spin[who], top, near=near, around=FIRST if index == 0 else LATER, looks=LOOKS,
                options=LOOKED, way=self.way,
            )  # fmt: skip
            margin = limit_values.grip_margin
            at = np.where(np.isnan(found.wheel_speed), top, found.wheel_speed)
            self.near, self.drift[who] = float(at[0]), at / at[0]
            chosen = np.where(np.isnan(found.wheel_speed), top, (1 - margin) * at) if margin else found.peak_speed
            done = self.way(here, index, speed, chosen, entry_spin=self.spin[who], options=TUNED)
            wheel[who], self.speed[who], self.spin[who] = chosen, done.exit_speed, done.exit_spin
        self.wheels.append(wheel)

    def kept(self, lead: Floats) -> Floats:
        """Exit speeds [m/s] within all limits, wheels slowed as far as they need, (lanes,)."""
        free = np.stack(self.wheels, axis=-1)
        known = np.where(free[0] > 0, free[0], lead)
        free = np.where(free > 0, free, known)
        slower = np.minimum(np.log(np.maximum(lead, 1e-9) / known), 0.0)
        slack, speed = self._look(np.arange(self.lanes), free)
        reached = np.where(slack >= 0, speed, 0.0)
        who = np.flatnonzero(slack < 0)
        if not who.size:
            return reached
        # Where the nominal design is not slower than the free one, all wheels are slowed alike.
        slower = slower if slower.min() < -1e-3 else np.full(slower.shape, -0.1)
        low, high = np.zeros(who.size), np.full(who.size, np.nan)
        broken, spare, at = slack[who], np.full(who.size, np.nan), np.ones(who.size)
        for _ in range(TRIES):
            slack, found = self._look(who, free[who] * np.exp(at[:, None] * slower))
            kept = slack >= 0
            reached[who] = np.where(kept, np.maximum(reached[who], found), reached[who])
            low, broken = np.where(kept, low, at), np.where(kept, broken, slack)
            high, spare = np.where(kept, at, high), np.where(kept, slack, spare)
            share = np.clip((INSIDE - broken) / np.where(spare > broken, spare - broken, np.nan), 0.03, 0.97)
            at = np.where(np.isnan(high), 2.0 * at + 0.5, low + (high - low) * np.nan_to_num(share, nan=0.5))
            at = np.minimum(at, 40.0)
        return reached

    def _look(self, who: Floats, lead: Floats) -> tuple[Floats, Floats]:
        """Least slack of the limits [-] and exit speed [m/s], (samples,); limits on exit speed alone cap it instead."""
        chunk, here = self.chunk, take(self.launcher, who)
        done = throw(here, *sides(self.way, here, lead, TUNED), options=TUNED)
        speed = np.where(turns(self.way, done), done.exit_speed, 0.0)
        cap = np.minimum(exit_cap(here, chunk.limit_values, chunk.margins), chunk.asked)
        point = OperatingPoint(launcher=here, limit_values=chunk.limit_values, throw=done, options=TUNED)
        least = np.ones(speed.shape)
        over = speed > cap
        for limit in LIMITS:
            if limit.kind not in (Kind.THROW, Kind.STEADY) or (result := evaluate(limit, point)) is None:
                continue
            slack = np.broadcast_to(result.slack, speed.shape) - chunk.margins.get(limit.name, 0.0)
            least = np.minimum(least, np.nan_to_num(slack, nan=-1.0))
        if chunk.asked < np.inf:
            least = np.minimum(least, cap / np.maximum(speed, LEAST_EXIT) - 1)
        # Wheels that throw beyond the cap are throttled to it.
        return np.where(over & (least < 0), least, least), speed


def _lanes(launcher: Launcher) -> int:
    from stager.physics.transit.lanes import batch_shape

    shape = batch_shape(launcher)
    return shape[0] if shape else 1

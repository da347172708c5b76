"""Tune every draw of a launcher anew for each stage count, as its maker would at the bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, exit_cap, speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import LimitValues
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.records import Parts
from stager.optimise.spin import sides, turns, way_of
from stager.parallel import Executor
from stager.physics.batch import batch_shape, flatten, take
from stager.physics.chain import Options, throw
from stager.physics.grip_limit import STANDARD, Refinement, TransitFunction, grip_limit
from stager.physics.guide import run_up

TUNED = Options(tolerance=1e-4)
"""Integration of throws at tuned settings."""
LOOKED = Options(tolerance=3e-4, energies=False)
"""Integration of throws while a grip limit is sought."""
FIRST = (0.6, 1.55)
"""Range of a draw's grip limit over its expected value, in the first stage [-]."""
LATER = (0.75, 1.35)
"""The same in later stages [-]."""
LOOKS = Refinement(2, offsets=(-0.1, 0.0, 0.1), crossing_points=5)
"""Search of a draw's grip limit."""
PLACES = 9
"""Wheel speeds that it begins with."""
CHUNK = 200
"""Draws in a chunk of work. It does not depend on who works, so that answers do not either."""
TRIES = 6
"""Steps of the search for wheels slow enough to keep the limits."""
FARTHEST = 40.0
"""Greatest multiple of the line along which wheels are slowed [-]."""
INSIDE = 2e-4
"""Slack that this search aims at [-]."""
CLOSE = 3e-3
"""Slack at which it ends [-]."""
LEAST_EXIT = 1e-6
"""Least exit speed that gains are related to [m/s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TunedDraws:
    """Exit speed [m/s] of every draw with each stage count, shape (stages + 1, draws), and the draws."""

    draws: Draws
    exit_speed: Floats

    def gain(self, count: int, more: int = 1) -> Floats:
        """Return what `more` stages add to `count` of them, as a share, shape (draws,)."""
        below = np.maximum(self.exit_speed[count], LEAST_EXIT)
        return np.asarray(self.exit_speed[count + more] / below - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningStep:
    """A stage count to tune.

    scenario: with its parts; parts: empty where there was nothing to choose; lead: leading wheels of the nominal design
    [m/s], (stages,).
    """

    scenario: Scenario
    parts: tuple[Parts, ...]
    lead: Floats


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Work for one worker: some draws behind the nominal launcher, sample 0.

    steps: launcher, parts and nominal leading wheels [m/s] by stage count, from 1; spin: asked for [rad/s]; asked: exit
    speed asked for [m/s], infinite if none; margins: reserves of hard limits [-].
    """

    steps: tuple[tuple[Launcher, tuple[Parts, ...], Floats], ...]
    limit_values: LimitValues
    spin: float | None
    asked: float
    margins: Mapping[str, float]


def tune(
    steps: Sequence[TuningStep], count: int, rng: np.random.Generator, margins: Mapping[str, float],
    executor: Executor | None = None,
) -> Callable[[], TunedDraws | None]:  # fmt: skip
    """Begin to tune `count` draws with 1, 2, … stages; return a function that waits for the result.

    Every draw runs each stage at its own grip limit less the margin, or where it throws fastest. Where that breaks a
    limit, all wheels are slowed in the ratios by which the nominal design is slower than one without limits. Reserves
    of hard limits are kept as in the nominal design. The result is None where nothing is uncertain.
    """
    if not steps or not is_uncertain(steps[0].scenario):
        return lambda: None
    scenario, state = steps[0].scenario, rng.bit_generator.state
    drawn: dict[tuple[Parts, ...], Draws] = {}
    for step in steps:
        if step.parts not in drawn:
            rng.bit_generator.state = state
            found = draw(step.scenario, count, rng)
            machine = flatten(found.launcher, (found.lanes,))
            drawn[step.parts] = Draws(values=found.values, launcher=machine, lanes=found.lanes)
    first = drawn[steps[0].parts]
    chunks = []
    for part in np.array_split(np.arange(1, first.lanes), max(-(-count // CHUNK), 1)):
        rows = np.append(0, part)
        taken = {parts: take(one.launcher, rows) for parts, one in drawn.items()}
        chosen = tuple((taken[step.parts], step.parts, step.lead) for step in steps)
        chunks.append(
            _Chunk(chosen, scenario.limit_values, scenario.goal.spin, scenario.goal.asked or np.inf, margins)
        )
    begun = (executor or Executor()).start_map(_tuned, chunks)
    return lambda: TunedDraws(draws=first, exit_speed=np.hstack(begun()))


def _tuned(chunk: _Chunk) -> Floats:
    """Return exit speeds [m/s] of the chunk's draws with 0, 1, 2 … stages, (stages + 1, draws)."""
    out: list[Floats] = []
    bench: _Bench | None = None
    before: tuple[Parts, ...] = ()
    for count, (launcher, parts, lead) in enumerate(chunk.steps, 1):
        if bench is None or parts[: count - 1] != before:
            bench = _Bench(launcher, chunk)
        bench.refit(launcher)
        before = parts
        while len(bench.wheels) < count:
            bench.add()
        if not out:
            out.append(bench.feed)
        reached = np.minimum(bench.kept(lead), bench.cap)
        # A stage may be left out.
        out.append(np.maximum(reached, out[-1]))
    return np.array(out)[:, 1:]


class _Bench:
    """Draws of a launcher, tuned stage by stage; sample 0 is the nominal one."""

    def __init__(self, launcher: Launcher, chunk: _Chunk) -> None:
        self.chunk = chunk
        self.lanes = (batch_shape(launcher) or (1,))[0]
        self.feed = np.broadcast_to(np.asarray(launcher.feed.speed, dtype=np.float64), (self.lanes,)).copy()
        self.speed, self.drift = self.feed.copy(), np.ones(self.lanes)
        self.spin = np.broadcast_to(np.asarray(launcher.feed.spin, dtype=np.float64), (self.lanes,)).copy()
        self.wheels: list[Floats] = []
        self.launcher = launcher
        self.refit(launcher)

    def refit(self, launcher: Launcher) -> None:
        """Continue with a launcher whose first stages are the same."""
        limit_values, chunk = self.chunk.limit_values, self.chunk
        if self.wheels and launcher is self.launcher:
            return
        self.launcher = launcher
        self.way: TransitFunction = way_of(take(launcher, np.zeros(1, int)), limit_values, chunk.spin)
        cap = np.minimum(exit_cap(launcher, limit_values, chunk.margins), chunk.asked)
        self.cap = np.broadcast_to(cap, (self.lanes,))

    def add(self) -> None:
        """Tune one more stage without regard to limits on the whole throw."""
        index, launcher, limit_values = len(self.wheels), self.launcher, self.chunk.limit_values
        who = np.flatnonzero(self.speed > 0)
        wheel = np.zeros(self.lanes)
        if who.size:
            here, spin = take(launcher, who), self.spin[who]
            speed = run_up(here, index, self.speed[who], np.ones(1)) if index else self.speed[who]
            top = np.broadcast_to(speed_range(here, limit_values, index, self.chunk.margins).top, speed.shape)
            middle = take(here, np.zeros(1, int))
            found = grip_limit(
                middle, index, speed[:1], spin[:1], top[:1], refinement=STANDARD, transit_function=self.way
            )
            centre = found.wheel_speed
            near = float(np.nan_to_num(centre[0], nan=float(top[0]))) * self.drift[who]
            found = grip_limit(
                here, index, speed, spin, top, near=near, around=LATER if index else FIRST, refinement=LOOKS,
                options=LOOKED, transit_function=self.way, near_points=PLACES,
            )  # fmt: skip
            margin = limit_values.grip_margin
            at = np.where(np.isnan(found.wheel_speed), top, found.wheel_speed)
            self.drift[who] = at / at[0]
            chosen = np.where(np.isnan(found.wheel_speed), top, (1 - margin) * at) if margin else found.peak_speed
            done = self.way(here, index, speed, chosen, entry_spin=spin, options=TUNED)
            wheel[who], self.speed[who], self.spin[who] = chosen, done.exit_speed, done.exit_spin
        self.wheels.append(wheel)

    def kept(self, lead: Floats) -> Floats:
        """Return exit speeds [m/s] within all limits, (samples,), with wheels slowed as far as necessary."""
        free = np.stack(self.wheels, axis=-1)
        known = np.where(free[0] > 0, free[0], lead)
        free = np.where(free > 0, free, known)
        slower = np.minimum(np.log(np.maximum(lead, 1e-9) / known), 0.0)
        # Where the nominal design is not slower than the free one, all wheels are slowed alike.
        slower = slower if slower.min() < -1e-3 else np.full(slower.shape, -0.1)
        slack, speed = self._look(np.arange(self.lanes), free)
        reached = np.where(slack >= 0, speed, 0.0)
        who = np.flatnonzero(slack < 0)
        low, broken = np.zeros(who.size), slack[who]
        high, spare, at = np.full(who.size, np.nan), np.full(who.size, np.nan), np.ones(who.size)
        for _ in range(TRIES if who.size else 0):
            slack, found = self._look(who, free[who] * np.exp(at[:, None] * slower))
            kept = slack >= 0
            reached[who] = np.where(kept, np.maximum(reached[who], found), reached[who])
            low, broken = np.where(kept, low, at), np.where(kept, broken, slack)
            high, spare = np.where(kept, at, high), np.where(kept, slack, spare)
            share = np.clip((INSIDE - broken) / np.where(spare > broken, spare - broken, np.nan), 0.03, 0.97)
            between = low + (high - low) * np.nan_to_num(share, nan=0.5)
            at = np.where(np.isnan(high), np.minimum(2.0 * at, FARTHEST), between)
            open_to = np.isnan(high) | (spare > CLOSE)
            who, low, broken, high, spare, at = (part[open_to] for part in (who, low, broken, high, spare, at))
            if not who.size:
                break
        return reached

    def _look(self, who: NDArray[np.intp], lead: Floats) -> tuple[Floats, Floats]:
        """Return the least slack of all limits [-] with exit speed capped, and exit speed [m/s]."""
        chunk, here = self.chunk, take(self.launcher, who)
        done = throw(here, *sides(self.way, here, lead, TUNED), options=TUNED)
        speed = np.where(turns(self.way, done), done.exit_speed, 0.0)
        # A draw that throws faster than the cap would be slowed to it, so its limits are evaluated there.
        point = OperatingPoint(
            launcher=here, limit_values=chunk.limit_values, options=TUNED,
            throw=replace(done, exit_speed=np.minimum(done.exit_speed, self.cap[who])),
        )  # fmt: skip
        least = np.ones(speed.shape)
        for limit in LIMITS:
            if limit.kind not in (Kind.THROW, Kind.STEADY) or (result := evaluate(limit, point)) is None:
                continue
            slack = np.broadcast_to(result.slack, speed.shape) - chunk.margins.get(limit.name, 0.0)
            least = np.minimum(least, np.nan_to_num(slack, nan=-1.0) + 1e-9)
        return least, speed

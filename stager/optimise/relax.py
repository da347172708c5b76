"""Where a speed is out of reach: which limits are in conflict with it, and how much looser they would have to be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from stager.constraints import GEOMETRY, OperatingPoint, evaluate
from stager.model.arrays import Number
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.scenario import Scenario
from stager.optimise.aims import task
from stager.optimise.choose import binding
from stager.optimise.climb import chains_of, most_stages
from stager.optimise.coupled import restrain
from stager.optimise.loosen import BUILT, FLOORS, MANY, is_set, looser, with_limits, without
from stager.optimise.records import Relaxation, Settings
from stager.optimise.settle import settle
from stager.optimise.solve import Chains
from stager.optimise.still import idle

ENOUGH, BEYOND = 1e-4, 1.04
FIRST, WIDEST, TRIES, SHARP = 1.02, 64.0, 16, 1e-3
HOPELESS, FLAT = 2.0, 1e-6
DIGITS = 4


class Reach:
    """How fast a scenario's launcher gets under other limits, hardly farther than what is asked."""

    def __init__(self, scenario: Scenario, asked: float, count: int) -> None:
        """asked: exit speed [m/s]; count: stages of the design that comes nearest."""
        self.scenario = replace(scenario, goal=Goal(aim=Aim.FASTEST, spin=scenario.goal.spin))
        self.asked, self.count = asked, count
        self._chains: Chains | None = None
        self._known: dict[tuple[LimitValues, Number | None], Settings | None] = {}

    def speed(self, changed: Scenario) -> float:
        """Exit speed under `changed` limits [m/s], cut a little above the one that is asked."""
        best = self.best(changed)
        return float(changed.launcher.feed.speed) if best is None else best.exit_speed

    def best(self, changed: Scenario) -> Settings | None:
        """What gets there; None: only the feed does."""
        key = changed.limit_values, changed.launcher.projectile.max_acceleration
        if key not in self._known:
            self._known[key] = self._best(changed)
        return self._known[key]

    def _best(self, changed: Scenario) -> Settings | None:
        cap = BEYOND * self.asked
        allowed = changed.limit_values.exit_speed
        limit_values = replace(changed.limit_values, exit_speed=cap if allowed is None else min(cap, allowed))
        changed = replace(changed, limit_values=limit_values, goal=self.scenario.goal)
        most = min(most_stages(changed), self.count + MANY)
        if most == 0:
            return None
        if self._chains is None:
            wide = replace(changed, limit_values=replace(limit_values, exit_energy=1e9, exit_speed=cap))
            self._chains = chains_of(wide, self.count + MANY)
        chains = self._chains.under(limit_values, most)
        counts = sorted({min(max(self.count, 1), most), most})
        climbers = settle(changed, chains, counts, task(changed))
        for climber in climbers:
            restrain(changed, chains, climber)
        kept = [climber.settings for climber in climbers if climber.settings.feasible]
        return max(kept, key=lambda settings: settings.exit_speed, default=None)

    def enough(self, changed: Scenario) -> bool:
        """Whether what is asked is reached."""
        return self.speed(changed) >= self.asked * (1 - ENOUGH)


def conflict(reach: Reach, nearest: Settings) -> tuple[str, ...]:
    """Limits that keep the speed out of reach: sets of which none could be spared, found by a deletion filter
    (Chinneck, 2008, from memory), one after the other until without all of them it is reached. Empty where it is
    out of reach without any limit."""
    scenario, found = reach.scenario, list[str]()
    held = [verdict.name for verdict in nearest.verdicts if is_set(scenario, verdict.name)]
    if not reach.enough(without(scenario, held)):
        return ()
    tight = binding(scenario, nearest)
    order = sorted(held, key=lambda name: name in tight)
    while not reach.enough(without(scenario, found)):
        found += _irreducible(reach, [name for name in order if name not in found], found)
    return tuple(name for name in held if name in found)


def _irreducible(reach: Reach, names: Sequence[str], spared: Sequence[str]) -> list[str]:
    """The last of `names` that are enough, without the `spared`, to keep the speed out of reach."""
    dropped, low, high = list(spared), 0, len(names)
    needed: list[str] = []
    # Names before `low` are dropped or needed; halving finds the next that is needed.
    while low < len(names):
        high = len(names)
        if not reach.enough(without(reach.scenario, [*dropped, *names[low:]])):
            break
        while high - low > 1:
            middle = (low + high) // 2
            if reach.enough(without(reach.scenario, [*dropped, *names[low:middle]])):
                high = middle
            else:
                dropped += names[low:middle]
                low = middle
        needed.append(names[low])
        low += 1
    return needed


def relaxations(reach: Reach, nearest: Settings, names: Sequence[str]) -> tuple[Relaxation, ...]:
    """Of each named limit what would do alone, the others as they are, and what if all are loosened by one share."""
    together = _together(reach, names)
    found = []
    for verdict in nearest.verdicts:
        if verdict.name in names:
            alone = together if len(names) == 1 else _together(reach, [verdict.name])
            found.append(
                Relaxation(
                    name=verdict.name, unit=verdict.unit, allowed=float(np.max(verdict.bound)),
                    needed=_outward(verdict.name, alone), together=_outward(verdict.name, together),
                )
            )  # fmt: skip
    return tuple(found)


def _together(reach: Reach, names: Sequence[str]) -> Scenario | None:
    """With the named limits looser so that it is reached, the largest share by which one is loosened at its least;
    none is looser than what is used then."""
    built, others = [name for name in names if name in BUILT], [name for name in names if name not in BUILT]
    best, least = None, np.inf
    for more in range(MANY + 1 if built else 1):
        widened, share = (reach.scenario, 1.0) if more == 0 else _longer(reach, built, reach.count + more)
        if share >= least or (more and most_stages(widened) < reach.count + more):
            break
        factor = _share(reach, widened, others)
        if factor is not None and max(factor, share) < least:
            best, least = looser(widened, others, factor), max(factor, share)
    return None if best is None else _no_more_than_used(reach, best, others)


def _no_more_than_used(reach: Reach, wide: Scenario, names: Sequence[str]) -> Scenario:
    found = reach.best(wide)
    if found is None:
        return wide
    used = {one.name: float(np.max(one.value)) for one in found.verdicts if one.name in names and one.name not in FLOORS}
    values = {
        name: min(getattr(wide.limit_values, name), max(getattr(reach.scenario.limit_values, name), use * (1 + SHARP)))
        for name, use in used.items()
        if getattr(wide.limit_values, name) is not None
    }
    return with_limits(wide, values)


def _share(reach: Reach, scenario: Scenario, names: Sequence[str]) -> float | None:
    if not names:
        return 1.0 if reach.enough(scenario) else None
    return _least(lambda factor: reach.speed(looser(scenario, names, factor)), reach.asked)


def _longer(reach: Reach, built: Sequence[str], count: int) -> tuple[Scenario, float]:
    """With the named limits on what is built as wide as `count` stages need, and by what share at most."""
    scenario = reach.scenario
    design = OperatingPoint(launcher=scenario.launcher, limit_values=scenario.limit_values, throw=idle(count))
    verdicts = [verdict for limit in GEOMETRY if limit.name in built and (verdict := evaluate(limit, design)) is not None]
    values = {one.name: float(np.max(np.maximum(one.value, one.bound))) for one in verdicts}
    share = max(float(np.max(one.value / one.bound)) for one in verdicts)
    return with_limits(scenario, values), max(share, 1.0)


def _least(reached: Callable[[float], float], asked: float) -> float | None:
    """Least factor at which `reached(factor)` [m/s], rising, is what is asked; None: not even far out."""
    goal = asked * (1 - ENOUGH)
    low, at_low = 1.0, reached(1.0)
    high, at_high = np.inf, np.inf
    factor = FIRST
    for turn in range(TRIES):
        value = reached(factor)
        slope = float(np.log(value / at_low) / np.log(factor / low)) if value > at_low and factor > low else 0.0
        if value >= goal:
            high, at_high = factor, value
        else:
            low, at_low = factor, value
        if high / low < 1 + SHARP:
            break
        if np.isinf(high):
            if low >= WIDEST or (low > HOPELESS and slope < FLAT):
                return None
            ahead = np.log(goal / at_low) / slope if slope > 0 else np.inf
            factor = min(low * np.exp(min(1.05 * ahead, 1.5)) * (1 + SHARP), WIDEST)
        else:
            share = np.log(goal / at_low) / np.log(at_high / at_low) if at_high > at_low and turn % 3 else 0.5
            factor = low * (high / low) ** float(np.clip(share, 0.02, 0.98))
    return float(high) if np.isfinite(high) else None


def _outward(name: str, scenario: Scenario | None) -> float | None:
    """What is allowed there, to a few digits, on the looser side."""
    if scenario is None:
        return None
    values = [getattr(scenario.limit_values, name)]
    if name == "acceleration":
        values.append(scenario.launcher.projectile.max_acceleration)
    value = min(float(value) for value in values if value is not None)
    if value <= 0 or name == "stages":
        return value
    unit = 10.0 ** (np.floor(np.log10(value)) - DIGITS + 1)
    steps = np.floor(value / unit * (1 + 1e-12)) if name in FLOORS else np.ceil(value / unit * (1 - 1e-12))
    return float(f"{steps * unit:.{DIGITS}g}")

"""Parts for the stages, what they can do, and which of two choices is the better one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from stager.model.scenario import Scenario
from stager.optimise.aims import aimed_speed, asks_speed
from stager.optimise.catalogue import Parts, with_parts
from stager.optimise.choose import REACHED, TIE, choose
from stager.optimise.climb import Climbed, climb, most_stages
from stager.optimise.records import Settings
from stager.optimise.runup import Runner

SLACK = 0.01
"""By how much light wheels may do better than each stage at its best in turn [-]."""
LEVEL = 1e-4
FAVOUR, COOLER = 2e-4, 0.9
"""Another crush than the one as written takes this much more exit speed, or no more than this share of the heat."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Parts, one a stage (the last for all further ones); exits: free exit speeds by stage count [m/s]; once it was
    looked at closely, its climb and, where one fits, its best settings."""

    parts: tuple[Parts, ...]
    scenario: Scenario
    exits: tuple[float, ...]
    climbed: Climbed | None = None
    best: Settings | None = None

    @property
    def bound(self) -> float:
        """Exit speed that it cannot exceed [m/s]."""
        return min(max(self.exits) * (1 + SLACK), aimed_speed(self.scenario))

    @property
    def as_written(self) -> bool:
        """Whether no crush was chosen."""
        return all(parts.crush is None for parts in self.parts)

    @property
    def nearest(self) -> float:
        """Exit speed [m/s] of the fastest settings that keep the limits, whatever is asked for; 0: there are none."""
        found = () if self.climbed is None else self.climbed.settings
        return max((settings.exit_speed for settings in found if settings.feasible), default=0.0)

    def climb(self) -> Choice:
        """Looked at closely."""
        found = climb(self.scenario)
        return replace(self, climbed=found, best=choose(self.scenario, found.settings))

    def least(self, speed: float) -> int:
        """Fewest stages that may reach `speed` [m/s]; more than there are where none may."""
        reaching = (count for count, exit_speed in enumerate(self.exits) if exit_speed * (1 + SLACK) >= speed)
        return next(reaching, len(self.exits))


def run_up(scenario: Scenario, runner: Runner, parts: tuple[Parts, ...]) -> Choice:
    """The choice of `parts`, not looked at closely."""
    fitted = with_parts(scenario, parts)
    exits = runner.exits(fitted.launcher, most_stages(fitted), aimed_speed(fitted))
    return Choice(parts, fitted, tuple(exits))


def hopeless(choice: Choice, best: Choice) -> bool:
    """Whether a choice cannot do as well as one that was looked at."""
    if best.best is None:
        return False
    aimed = aimed_speed(choice.scenario)
    if asks_speed(choice.scenario.goal):
        least = choice.least(aimed * (1 - REACHED))
        return least > best.best.count or (least == best.best.count and _only_pressed(choice, best))
    if best.best.exit_speed >= aimed * (1 - REACHED) and _only_pressed(choice, best):
        return choice.least(aimed * (1 - TIE)) >= best.best.count
    return choice.bound < best.best.exit_speed * (1 - TIE)


def _only_pressed(one: Choice, other: Choice) -> bool:
    """Whether `one` differs from `other` by a crush that was chosen alone: as good is not good enough then."""
    return not one.as_written and {parts[:2] for parts in one.parts} == {parts[:2] for parts in other.parts}


def best_of(choices: Sequence[Choice]) -> Choice:
    """The best of those that were looked at; the first where none fits."""
    best = choices[0]
    for choice in choices[1:]:
        lead = ahead(choice, best)
        if lead > 0 or (lead == 0 and _nicer(choice, best)):
            best = choice
    return best


def ahead(one: Choice, other: Choice) -> int:
    """1 where `one` does clearly better, −1 where worse: it fits, is faster, or, where that is the same or a speed is
    asked for, takes fewer stages."""
    if one.best is None or other.best is None:
        return int(one.best is not None) - int(other.best is not None)
    fewer = int(np.sign(other.best.count - one.best.count))
    gain = one.best.exit_speed / other.best.exit_speed - 1
    return fewer if asks_speed(one.scenario.goal) or abs(gain) <= TIE else int(np.sign(gain))


def _nicer(one: Choice, other: Choice) -> bool:
    """A little faster, or, at the same speed, with less slip heat; where none fits, nearer to what is asked for."""
    if one.best is None or other.best is None:
        return one.nearest > other.nearest * (1 + LEVEL)
    written = int(one.as_written) - int(other.as_written)
    gain = one.best.exit_speed / other.best.exit_speed - 1 + FAVOUR * written
    return gain > LEVEL or (gain > -LEVEL - FAVOUR * abs(written) and _heat(one) * COOLER**written < _heat(other))


def _heat(choice: Choice) -> float:
    return np.inf if choice.best is None else float(choice.best.throw.stages.slip_heat.sum())

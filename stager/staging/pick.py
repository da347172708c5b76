"""Which wheel and which drive of a catalogue: one for all stages, or, where that adds clearly, each stage its own.

Each choice's stages are run up freely first. What all stages share can only slow them, so this bounds what the choice
can do, and one whose bound is below what another does is not looked at closely.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stager.hardware.scenario import Scenario
from stager.hardware.stage import Stage
from stager.staging.aims import aimed_speed, asks_speed
from stager.staging.catalogue import Parts, names, outfit, parts_of, with_parts
from stager.staging.choose import REACHED, TIE, choose
from stager.staging.climb import Climbed, climb, most_stages
from stager.staging.records import Catalogue, Option, Settings
from stager.staging.runup import Runner

SLACK = 0.01
"""By how much light wheels may do better than each stage at its best in turn [-]."""
LEVEL = 1e-4


@dataclass(frozen=True, slots=True)
class Picked:
    """The scenario with the parts that were chosen, its climb, and what was chosen among (None: nothing to choose)."""

    scenario: Scenario
    climbed: Climbed
    catalogue: Catalogue | None


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

    def climb(self) -> Choice:
        """Looked at closely."""
        found = climb(self.scenario)
        return replace(self, climbed=found, best=choose(self.scenario, found.settings))

    def least(self, speed: float) -> int:
        """Fewest stages that may reach `speed` [m/s]; more than there are where none may."""
        reaching = (count for count, exit_speed in enumerate(self.exits) if exit_speed * (1 + SLACK) >= speed)
        return next(reaching, len(self.exits))


def pick(scenario: Scenario, seen: Callable[[float], None] | None = None) -> Picked:
    """The best parts of the catalogue and the climb with them; seen: see `settle`, called where there is no choice."""
    if all(parts == (0, 0) for parts in _offered(scenario)):
        return Picked(scenario, climb(scenario, seen), None)
    runner = Runner(scenario.allowances, scenario.goal.spin)
    tried = _one_for_all(scenario, runner)
    common = _best(tried)
    own = _each_its_own(scenario, runner, common)
    chosen = own or common
    if chosen.climbed is None:
        raise ValueError("a choice of parts that was not looked at")
    return Picked(chosen.scenario, chosen.climbed, _told(scenario, tried, common, own))


def _one_for_all(scenario: Scenario, runner: Runner) -> list[Choice]:
    """The same parts in every stage that offers them, in the order of what they can do; those that cannot be the best
    are left unclimbed."""
    found = [_run_up(scenario, runner, (parts,)) for parts in _offered(scenario)]
    found.sort(key=lambda choice: -choice.bound)
    if asks_speed(scenario.goal):
        found.sort(key=lambda choice: choice.least(aimed_speed(scenario)))
    out: list[Choice] = []
    for choice in found:
        done = [each for each in out if each.climbed is not None]
        out.append(choice.climb() if not done or not _hopeless(choice, _best(done)) else choice)
    return out


def _offered(scenario: Scenario) -> list[Parts]:
    """All that any stage offers, each once."""
    stages = [scenario.launcher.stage(k) for k in range(scenario.allowances.stages)]
    return list(dict.fromkeys(parts for stage in stages for parts in parts_of(stage)))


def _offering(scenario: Scenario, parts: Parts) -> Stage:
    """The first stage that offers the parts."""
    stages = (scenario.launcher.stage(k) for k in range(scenario.allowances.stages))
    return next(stage for stage in stages if parts in parts_of(stage))


def _run_up(scenario: Scenario, runner: Runner, parts: tuple[Parts, ...]) -> Choice:
    fitted = with_parts(scenario, parts)
    exits = runner.exits(fitted.launcher, most_stages(fitted), aimed_speed(fitted))
    return Choice(parts, fitted, tuple(exits))


def _hopeless(choice: Choice, best: Choice) -> bool:
    """Whether a choice cannot do as well as one that was looked at."""
    if best.best is None:
        return False
    if asks_speed(choice.scenario.goal):
        return choice.least(aimed_speed(choice.scenario) * (1 - REACHED)) > best.best.count
    return choice.bound < best.best.exit_speed * (1 - TIE)


def _each_its_own(scenario: Scenario, runner: Runner, common: Choice) -> Choice | None:
    """Each stage with the parts that get most out of it in turn; None where that is not clearly better."""
    entry = float(scenario.launcher.feed.speed), 0.0
    parts: list[Parts] = []
    for index in range(scenario.allowances.stages):
        leaving = {
            offered: runner.leave(outfit(scenario.launcher, [*parts, offered]), index, entry)
            for offered in parts_of(scenario.launcher.stage(index))
        }
        parts.append(max(leaving, key=lambda offered: leaving[offered][0]))
        entry = leaving[parts[-1]]
        if entry[0] <= 0 or entry[0] >= aimed_speed(scenario):
            break
    if not parts or len(set(parts)) == 1:
        return None
    choice = _run_up(scenario, runner, tuple(parts))
    if _hopeless(choice, common):
        return None
    choice = choice.climb()
    return choice if _ahead(choice, common) > 0 else None


def _best(choices: Sequence[Choice]) -> Choice:
    """The best of those that were looked at; the first where none fits."""
    best = choices[0]
    for choice in choices[1:]:
        ahead = _ahead(choice, best)
        if ahead > 0 or (ahead == 0 and _nicer(choice, best)):
            best = choice
    return best


def _ahead(one: Choice, other: Choice) -> int:
    """1 where `one` does clearly better, −1 where worse: it fits, is faster, or, where that is the same or a speed is
    asked for, takes fewer stages."""
    if one.best is None or other.best is None:
        return int(one.best is not None) - int(other.best is not None)
    fewer = int(np.sign(other.best.count - one.best.count))
    gain = one.best.exit_speed / other.best.exit_speed - 1
    return fewer if asks_speed(one.scenario.goal) or abs(gain) <= TIE else int(np.sign(gain))


def _nicer(one: Choice, other: Choice) -> bool:
    """A little faster, or, at the same speed, with less slip heat."""
    if one.best is None or other.best is None:
        return False
    gain = one.best.exit_speed / other.best.exit_speed - 1
    return gain > LEVEL or (gain > -LEVEL and _heat(one.best) < _heat(other.best))


def _heat(settings: Settings) -> float:
    return float(settings.throw.stages.slip_heat.sum())


def _told(scenario: Scenario, tried: Sequence[Choice], common: Choice, own: Choice | None) -> Catalogue:
    """What was chosen, and how much the others lose."""
    chosen = own or common
    count = 0 if chosen.best is None else chosen.best.count
    options = []
    for choice in tried:
        wheel, drive = names(_offering(scenario, choice.parts[0]), choice.parts[0])
        closely = choice.climbed is not None
        speed = choice.bound if not closely else None if choice.best is None else choice.best.exit_speed
        stages = None if choice.best is None else choice.best.count
        options.append(Option(wheel=wheel, drive=drive, exit_speed=speed, stages=stages, at_most=not closely))
    parts = [chosen.parts[min(k, len(chosen.parts) - 1)] for k in range(count)]
    gain = None
    if own is not None and own.best is not None and common.best is not None:
        gain = own.best.exit_speed / common.best.exit_speed - 1
    return Catalogue(
        options=tuple(options), numbers=tuple(parts), one_for_all=own is None, mixed_gain=gain,
        chosen=tuple(names(scenario.launcher.stage(k), parts[k]) for k in range(count)),
    )  # fmt: skip

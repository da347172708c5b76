"""Which wheel and drive of a catalogue, and which crush: one for all stages, or, where that adds clearly, each stage
its own.

Each choice's stages are run up freely first. What all stages share can only slow them, so this bounds what the choice
can do, and one whose bound is below what another does is not looked at closely.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from stager.model.scenario import Scenario
from stager.model.stage import Stage
from stager.optimise.aims import aimed_speed, asks_speed
from stager.optimise.catalogue import Parts, crush_of, has_range, names, outfit, parts_of, ranged_over
from stager.optimise.choice import Choice, ahead, best_of, hopeless, run_up
from stager.optimise.climb import Climbed, climb
from stager.optimise.press import finer
from stager.optimise.records import Catalogue, Option
from stager.optimise.runup import Runner


@dataclass(frozen=True, slots=True)
class Picked:
    """The scenario with the parts that were chosen, its climb, and what was chosen among (None: nothing to choose)."""

    scenario: Scenario
    climbed: Climbed
    catalogue: Catalogue | None


def pick(scenario: Scenario, seen: Callable[[float], None] | None = None) -> Picked:
    """The best parts of the catalogue and the climb with them; seen: see `settle`, called where there is no choice."""
    if all(parts == Parts(0, 0) for parts in _offered(scenario)):
        return Picked(scenario, climb(scenario, seen), None)
    runner = Runner(scenario.limit_values, scenario.goal.spin)
    tried = _one_for_all(scenario, runner)
    common = best_of(tried)
    own, ends = _each_its_own(scenario, runner, common), None
    if ranged_over(_stages(scenario)):
        found, ends = finer(scenario, runner, own or common)
        tried += [choice for choice in found if len(set(choice.parts)) == 1]
        common = best_of(tried)
        mixed = [choice for choice in found if len(set(choice.parts)) > 1] + ([own] if own else [])
        own = best_of(mixed) if mixed and ahead(best_of(mixed), common) > 0 else None
    chosen = own or common
    if chosen.climbed is None:
        raise ValueError("a choice of parts that was not looked at")
    return Picked(chosen.scenario, chosen.climbed, _told(scenario, tried, common, own, ends))


def _stages(scenario: Scenario) -> list[Stage]:
    return [scenario.launcher.stage(k) for k in range(scenario.limit_values.stages)]


def _one_for_all(scenario: Scenario, runner: Runner) -> list[Choice]:
    """The same parts in every stage that offers them, in the order of what they can do; those that cannot be the best
    are left unclimbed."""
    found = [run_up(scenario, runner, (parts,)) for parts in _offered(scenario)]
    found = [choice for choice in found if choice.as_written or max(choice.exits) < float("inf")]
    found.sort(key=lambda choice: -choice.bound)
    if asks_speed(scenario.goal):
        found.sort(key=lambda choice: choice.least(aimed_speed(scenario)))
    out: list[Choice] = []
    for choice in found:
        done = [each for each in out if each.climbed is not None]
        out.append(choice.climb() if not done or not hopeless(choice, best_of(done)) else choice)
    return out


def _offered(scenario: Scenario) -> list[Parts]:
    """All that any stage offers, each once."""
    return list(dict.fromkeys(parts for stage in _stages(scenario) for parts in parts_of(stage)))


def _offering(scenario: Scenario, parts: Parts) -> Stage:
    """The first stage that offers the wheel and the drive, and a range of crush where one was chosen."""
    fitting = [stage for stage in _stages(scenario) if any(parts[:2] == each[:2] for each in parts_of(stage))]
    return next((stage for stage in fitting if parts.crush is None or has_range(stage)), fitting[0])


def _each_its_own(scenario: Scenario, runner: Runner, common: Choice) -> Choice | None:
    """Each stage with the parts that get most out of it in turn; None where that is not clearly better."""
    entry = float(scenario.launcher.feed.speed), float(scenario.launcher.feed.spin)
    parts: list[Parts] = []
    for index in range(scenario.limit_values.stages):
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
    choice = run_up(scenario, runner, tuple(parts))
    if hopeless(choice, common) or not (choice.as_written or max(choice.exits) < float("inf")):
        return None
    choice = choice.climb()
    return choice if ahead(choice, common) > 0 else None


def _told(
    scenario: Scenario, tried: Sequence[Choice], common: Choice, own: Choice | None, ends: tuple[float, float] | None
) -> Catalogue:
    """What was chosen, and how much the others lose."""
    chosen = own or common
    count = 0 if chosen.best is None else chosen.best.count
    parts = [chosen.parts[min(k, len(chosen.parts) - 1)] for k in range(count)]
    gain = None
    if own is not None and own.best is not None and common.best is not None:
        gain = own.best.exit_speed / common.best.exit_speed - 1
    stages = _stages(scenario)
    asked = ranged_over(stages)
    return Catalogue(
        options=tuple(_option(scenario, choice) for choice in tried), numbers=tuple(parts),
        one_for_all=own is None, mixed_gain=gain,
        chosen=tuple(names(stage, each) for stage, each in zip(stages, parts, strict=False)),
        crushes=tuple(crush_of(stage, each) for stage, each in zip(stages, parts, strict=False)) if asked else (),
        asked=asked, searched=ends,
    )  # fmt: skip


def _option(scenario: Scenario, choice: Choice) -> Option:
    """Parts that all stages have, and what they do."""
    parts, closely = choice.parts[0], choice.climbed is not None
    stage = _offering(scenario, parts)
    wheel, drive = names(stage, parts)
    speed = choice.bound if not closely else None if choice.best is None else choice.best.exit_speed
    return Option(
        wheel=wheel, drive=drive, crush=crush_of(stage, parts) if has_range(stage) else None, exit_speed=speed,
        stages=None if choice.best is None else choice.best.count, at_most=not closely,
    )  # fmt: skip

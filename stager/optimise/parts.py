"""Choose wheel, drive and crush of each stage from what is offered.

First the same parts in every stage, each choice searched like a problem of its own. Then, number of stages by number of
stages, single stages get other parts as long as that is better: what limits on cost, length and mass leave over is
spent where it pays most. A crush that may be chosen is a variable of the search, the same in all stages at first, and
of each stage its own where that is clearly better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from stager.constraints import broken_by
from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.model.stage import Stage
from stager.optimise.judge import REACHED, TIE, judged
from stager.optimise.problem import NO_MARGINS, Problem, Tables, Trial, has_range
from stager.optimise.records import Catalogue, Option, Parts, Settings
from stager.optimise.refine import CLOSE, QUICKLY, best, fastest, score
from stager.optimise.search import Clock, Solution, improve, most_stages, solve
from stager.physics.parts import fitted

LEAST, DIGITS = 1e-6, 3
"""The least crush that an error may leave of the chosen one [m]; digits of what is chosen."""
FEW = 4
"""Generations in which a choice is looked at that starts from the best one so far."""
PROMISING, CLEARLY, OWN_GAIN = 3, 1e-4, 1e-3
"""Exchanges of one stage's parts that are polished; gains that pay for other parts, and for crushes apart [-]."""
OVER = 1e-6
"""By how much a speed that is asked for may be exceeded [-]."""


def parts_of(stage: Stage) -> tuple[Parts, ...]:
    """What may be chosen for a stage; a drive as written only where there is one, or no other."""
    drives = range(0 if stage.drive is not None or not stage.drive_options else 1, len(stage.drive_options) + 1)
    return tuple(Parts(wheel, drive) for wheel in range(len(stage.wheel_options) + 1) for drive in drives)


def ranged_over(stages: Sequence[Stage]) -> tuple[float, float] | None:
    """Least and greatest crush [m] that may be chosen for any of the stages; None: there is none to choose."""
    ranges = [stage.crush_range for stage in stages if stage.crush_range is not None and has_range(stage)]
    return (min(low for low, _ in ranges), max(high for _, high in ranges)) if ranges else None


def with_parts(scenario: Scenario, parts: Sequence[Parts]) -> Scenario:
    """The scenario with chosen parts, one a stage; the last serves for all further stages.

    Launchers with other values have the chosen crush, and their own error in it.
    """
    written = scenario.launcher
    realise = _Realise(scenario.realise, tuple(parts), written)
    return replace(scenario, launcher=outfit(written, parts), realise=realise)


@dataclass(frozen=True, slots=True)
class _Realise:
    """Launchers with other values and the chosen parts."""

    given: Callable[[Mapping[str, Number]], Launcher]
    parts: tuple[Parts, ...]
    written: Launcher

    def __call__(self, values: Mapping[str, Number]) -> Launcher:
        return outfit(self.given(values), self.parts, self.written)


def outfit(launcher: Launcher, parts: Sequence[Parts], written: Launcher | None = None) -> Launcher:
    """The launcher with chosen parts; equal stages stay one record.

    written: where `launcher` is this one with other values, what its crush is off by stays in the chosen one.
    """
    made: dict[tuple[int, Parts, float], Stage] = {}

    def stage(index: int) -> Stage:
        given, nominal = launcher.stage(index), (written or launcher).stage(index)
        chosen = within(nominal, parts[min(index, len(parts) - 1)])
        key = id(given), chosen, float(nominal.crush)
        if key not in made:
            new = fitted(given, chosen.wheel, chosen.drive, _built(given, nominal, chosen.crush))
            # What is not chosen yet may still be.
            made[key] = new if chosen.crush is not None else replace(new, crush_range=nominal.crush_range)
        return made[key]

    alike = len(set(parts)) == 1
    count = len(launcher.stages) if alike else max(len(launcher.stages), len(parts))
    return replace(launcher, template=stage(max(count, len(parts))), stages=tuple(stage(k) for k in range(count)))


def within(stage: Stage, parts: Parts) -> Parts:
    """The parts as far as a stage offers them."""
    offered = parts_of(stage)
    wheel, drive, _ = offered[0]
    if any(parts[:2] == each[:2] for each in offered):
        wheel, drive = parts[:2]
    if parts.crush is None or stage.crush_range is None or not has_range(stage):
        return Parts(wheel, drive)
    return Parts(wheel, drive, min(max(parts.crush, stage.crush_range[0]), stage.crush_range[1]))


def _built(given: Stage, nominal: Stage, crush: float | None) -> Number | None:
    """The crush [m] of a stage that was to have `crush`; None: its own."""
    if crush is None or given is nominal:
        return crush
    return np.maximum(given.crush + (crush - nominal.crush), LEAST)


def crush_of(stage: Stage, parts: Parts) -> float:
    """The crush that a stage has with the parts [m]."""
    crush = within(stage, parts).crush
    return float(stage.crush) if crush is None else crush


def names(stage: Stage, parts: Parts) -> tuple[str, str]:
    """Names of wheel and drive; numbers where they have none."""
    drive = (stage.drive, *stage.drive_options)[parts.drive]
    wheel = (stage.wheel, *stage.wheel_options)[parts.wheel]
    return wheel.name or _number(parts.wheel), "" if drive is None else drive.name or _number(parts.drive)


def _number(option: int) -> str:
    return f"option {option}" if option else "as written"


@dataclass(slots=True)
class Row:
    """The best design found of a number of stages: parts of each stage, the scenario with them, and the solution, None
    for no stage."""

    count: int
    scenario: Scenario
    parts: tuple[Parts, ...]
    solution: Solution | None
    settings: Settings

    @property
    def feasible(self) -> bool:
        """Whether every limit is kept, reserves included."""
        return self.settings.feasible if self.solution is None else self.solution.feasible


@dataclass(slots=True)
class Selected:
    """Rows by number of stages, and what was chosen among, None where there was nothing to choose."""

    rows: list[Row]
    catalogue: Catalogue | None
    options: list[tuple[Parts, list[Row]]] = field(default_factory=list)


def select(
    scenario: Scenario, clock: Clock, tell: Callable[[float], None] = lambda share: None,
    margins: Mapping[str, float] = NO_MARGINS, seed: int = 0,
) -> Selected:  # fmt: skip
    """Return the best design of each number of stages, with the parts that are best for it."""
    return _Selection(scenario, clock, margins, seed).run(tell)


class _Selection:
    def __init__(self, scenario: Scenario, clock: Clock, margins: Mapping[str, float], seed: int) -> None:
        self.scenario, self.clock, self.margins, self.seed = scenario, clock, margins, seed
        self.tables = Tables(scenario)
        self.stages = [scenario.launcher.stage(k) for k in range(max(scenario.limit_values.stages, 1))]
        self.offered = list(dict.fromkeys(parts for stage in self.stages for parts in parts_of(stage)))
        self.ranged = ranged_over(self.stages) is not None
        self.bare = judged(scenario, np.zeros(0))

    def run(self, tell: Callable[[float], None]) -> Selected:
        """Return the rows; tell: takes the share that is done [-]."""
        choices = self.offered
        whole: list[tuple[Parts, list[Row]]] = []
        for number, parts in enumerate(choices):
            if number and self.clock.out("other parts of the catalogue"):
                break
            whole.append((parts, self._rows(parts, whole)))
            tell((number + 1) / len(choices) * (1.0 if len(choices) == 1 and not self.ranged else 0.6))
        most = max(len(rows) for _, rows in whole)
        rows = [self._best([rows[count] for _, rows in whole if len(rows) > count]) for count in range(most)]
        if len(choices) == 1 and not self.ranged and choices[0] == Parts(0, 0):
            return Selected(rows, None)
        common = list(rows)
        if len(choices) > 1:
            rows = self._exchange(rows)
        if self.ranged:
            rows = [self._press(row) for row in rows]
        tell(1.0)
        return Selected(rows, _told(self.scenario, whole, common, rows), whole)

    def _build(self, scenario: Scenario, count: int, crush: str | None) -> Problem:
        return Problem(scenario, count, tables=self.tables, margins=self.margins, crush=crush)

    def _rows(self, parts: Parts, known: Sequence[tuple[Parts, list[Row]]]) -> list[Row]:
        """The same parts in every stage that offers them: a row for each number of stages."""
        plain = len(self.offered) == 1 and not self.ranged and parts == Parts(0, 0)
        scenario = self.scenario if plain else with_parts(self.scenario, [parts])
        rows = [Row(0, self.scenario, (), None, self.bare)]
        best_known = [self._best([rows[count] for _, rows in known if len(rows) > count]) for count in
                      range(max((len(rows) for _, rows in known), default=0))]  # fmt: skip
        most = most_stages(scenario.launcher, scenario)
        for count in range(1, most + 1):
            if count > 1 and self.clock.out(f"{count} and more stages"):
                break
            problem = self._build(scenario, count, "common" if self.ranged else None)
            before = rows[-1].solution
            shorter = [] if before is None else [before.trial]
            starts = [row.solution.trial for row in best_known[count : count + 1] if row.solution is not None]
            found = solve(
                problem, shorter, starts, seed=self.seed, effort=QUICKLY if starts else CLOSE,
                **({"generations": FEW} if starts else {}),
            )  # fmt: skip
            leader = best_known[count].solution if starts else None
            if leader is not None and _near(found, leader):
                found = improve(problem, found.trial)
            rows.append(Row(count, scenario, () if plain else (parts,) * count, found, found.settings))
        return rows

    def _best(self, rows: Sequence[Row]) -> Row:
        leader = rows[0]
        for row in rows[1:]:
            if _ahead(row, leader):
                leader = row
        return leader

    def _exchange(self, rows: list[Row]) -> list[Row]:
        """Rows with parts of their own for single stages, where that is better."""
        out = rows[:1]
        limit = max(self.scenario.limit_values.stages, len(rows) - 1)
        for count in range(1, limit + 1):
            starts = [rows[count]] if count < len(rows) else []
            before = out[count - 1]
            if before.solution is not None or count == 1:
                grown = [self._grown(before, parts) for parts in self.offered]
                starts += [row for row in grown if row is not None]
            if not starts:
                break
            row = self._best(starts)
            while not self.clock.out("parts of single stages"):
                better = self._exchanged(row)
                if better is None:
                    break
                row = better
            out.append(row)
        return out

    def _grown(self, before: Row, parts: Parts) -> Row | None:
        """One more stage with `parts` behind what was best with one less; None where that may not be built."""
        if before.solution is None or not before.feasible:
            return None
        chosen = (*before.parts, parts)
        scenario = with_parts(self.scenario, chosen)
        if broken_by(scenario.launcher, scenario.limit_values, len(chosen)):
            return None
        problem = self._build(scenario, len(chosen), "common" if self.ranged else None)
        found = solve(problem, [before.solution.trial], seed=self.seed, generations=FEW, effort=QUICKLY)
        return Row(len(chosen), scenario, chosen, found, found.settings)

    def _exchanged(self, row: Row) -> Row | None:
        """The best row with other parts in one stage; None where none is better."""
        if row.solution is None:
            return None
        trial, tried = row.solution.trial, []
        shares = np.log([1.0, 0.97, 0.9, 0.75])[:, None]
        for k in range(row.count):
            for parts in parts_of(self.stages[min(k, len(self.stages) - 1)]):
                if parts[:2] == row.parts[k][:2]:
                    continue
                chosen = (*row.parts[:k], parts, *row.parts[k + 1 :])
                scenario = with_parts(self.scenario, chosen)
                if broken_by(scenario.launcher, scenario.limit_values, row.count):
                    continue
                problem = self._build(scenario, row.count, "common" if self.ranged else None)
                x = np.tile(trial.x, (shares.size, 1))
                x[:, : row.count] += shares
                looked = problem.look(x)
                tried.append((float(score(fastest, looked).max()), chosen, scenario, problem, best(fastest, looked)))
        tried.sort(key=lambda one: -one[0])
        for _, chosen, scenario, problem, start in tried[:PROMISING]:
            found = improve(problem, start, QUICKLY)
            candidate = Row(row.count, scenario, chosen, found, found.settings)
            if _ahead(candidate, row):
                found = improve(problem, found.trial)
                return Row(row.count, scenario, chosen, found, found.settings)
        return None

    def _press(self, row: Row) -> Row:
        """The row with crushes as one can set them."""
        if row.solution is None:
            return row
        found, trial = row.solution, row.solution.trial
        if row.count > 1 and row.feasible and not self.clock.out("a crush of its own for each stage"):
            own = self._build(row.scenario, row.count, "own")
            start = np.append(trial.x[0, : row.count], own.crush_variables(list(trial.crush[0])))
            # Crushes of their own may pay far from the common one, so all of their range is looked at.
            better = solve(own, starts=[own.look(start[None])], seed=self.seed)
            if better.feasible and better.settings.exit_speed > found.settings.exit_speed * (1 + OWN_GAIN):
                found = better
        rows = [self._set(row, found.trial, upward=upward) for upward in (False, True)]
        best = self._best(rows)
        plain = tuple(Parts(*one[:2], None) for one in row.parts)
        bounds = [self._stage(k).crush_range or (0.0, np.inf) for k in range(row.count)]
        within_range = all(low <= float(self._stage(k).crush) <= high for k, (low, high) in enumerate(bounds))
        if not within_range:
            return best
        # The crush as written stays where another gains nothing.
        written = self._improved(row, plain, replace(best.solution.trial) if best.solution else trial)
        return written if written.feasible and not _clearly_ahead(self.scenario, best, written) else best

    def _set(self, row: Row, trial: Trial, *, upward: bool) -> Row:
        """The row with crushes rounded down, or up."""
        parts = tuple(
            Parts(*one[:2], _rounded(float(trial.crush[0, k]), self._stage(k), upward=upward))
            for k, one in enumerate(row.parts)
        )
        return self._improved(row, parts, trial)

    def _improved(self, row: Row, parts: tuple[Parts, ...], trial: Trial) -> Row:
        scenario = with_parts(self.scenario, parts)
        again = improve(self._build(scenario, row.count, None), replace_x(trial, row.count))
        return Row(row.count, scenario, parts, again, again.settings)

    def _stage(self, k: int) -> Stage:
        return self.stages[min(k, len(self.stages) - 1)]

def replace_x(trial: Trial, count: int) -> Trial:
    """Return a trial with the variables of its wheels alone."""
    return replace(trial, x=trial.x[:, :count])


def _rounded(crush: float, stage: Stage, *, upward: bool) -> float | None:
    """A crush [m] as one can set it, to DIGITS digits, within the range of a stage."""
    if stage.crush_range is None or not has_range(stage):
        return None
    unit = 10.0 ** (np.floor(np.log10(max(crush, 1e-9))) - DIGITS + 1)
    steps = (np.ceil if upward else np.floor)(crush / unit + (-1e-6 if upward else 1e-6))
    low, high = stage.crush_range
    return min(max(float(f"{steps * unit:.{DIGITS}g}"), low), high)


def _near(found: Solution, other: Solution) -> bool:
    return found.settings.exit_speed > other.settings.exit_speed * (1 - 0.01) or found.feasible > other.feasible


def _ahead(one: Row, other: Row) -> bool:
    """Whether a row of as many stages is clearly better: it fits, is faster, or as fast with less slip heat."""
    if one.feasible != other.feasible:
        return one.feasible
    if not one.feasible:
        pair = [np.inf if row.solution is None else float(row.solution.trial.violation[0]) for row in (one, other)]
        return pair[0] < pair[1]
    gain = one.settings.exit_speed / max(other.settings.exit_speed, 1e-12) - 1
    heats = [float(row.settings.throw.stages.slip_heat.sum()) for row in (one, other)]
    return gain > CLEARLY or (gain > -CLEARLY and heats[0] < 0.9 * heats[1])


def _clearly_ahead(scenario: Scenario, one: Row, other: Row) -> bool:
    """Whether another crush than the one as written pays: it is faster, or much cooler where that is the same."""
    if not other.feasible:
        return True
    heats = [float(row.settings.throw.stages.slip_heat.sum()) for row in (one, other)]
    faster = one.settings.exit_speed > other.settings.exit_speed * (1 + 2 * CLEARLY)
    same = one.settings.exit_speed > other.settings.exit_speed * (1 - 2 * CLEARLY)
    return one.feasible and (faster or (same and heats[0] < 0.9 * heats[1]))


def choose(scenario: Scenario, rows: Sequence[Row]) -> Row | None:
    """Return the plan among the best designs of each number of stages: the fastest, or the fewest stages that reach
    the speed asked for; None where none will do."""
    fits = [row for row in rows if row.feasible]
    if not fits:
        return None
    asked = scenario.goal.asked
    if asked is None:
        most = max(row.settings.exit_speed for row in fits)
        return next(row for row in fits if row.settings.exit_speed >= most * (1 - TIE))
    return next((row for row in fits if asked * (1 - REACHED) <= row.settings.exit_speed <= asked * (1 + OVER)), None)


def _told(
    scenario: Scenario, whole: Sequence[tuple[Parts, list[Row]]], common: Sequence[Row], rows: Sequence[Row]
) -> Catalogue:
    """What was chosen, and how much the same parts in every stage lose."""
    final, single = choose(scenario, rows), choose(scenario, common)
    parts = () if final is None else final.parts
    stages = [scenario.launcher.stage(k) for k in range(len(parts))]
    alike = len({(one.wheel, one.drive, one.crush) for one in parts}) <= 1
    gain = None
    if not alike and final is not None and single is not None:
        gain = final.settings.exit_speed / single.settings.exit_speed - 1
    everywhere = [scenario.launcher.stage(k) for k in range(max(scenario.limit_values.stages, 1))]
    asked = ranged_over(everywhere)
    return Catalogue(
        options=tuple(_option(scenario, everywhere, one, found) for one, found in whole), numbers=tuple(parts),
        one_for_all=alike, mixed_gain=gain,
        chosen=tuple(names(stage, one) for stage, one in zip(stages, parts, strict=True)),
        crushes=tuple(crush_of(stage, one) for stage, one in zip(stages, parts, strict=True)) if asked else (),
        asked=asked, searched=asked,
    )  # fmt: skip


def _option(scenario: Scenario, stages: Sequence[Stage], parts: Parts, rows: Sequence[Row]) -> Option:
    offering = next((one for one in stages if parts[:2] in [each[:2] for each in parts_of(one)]), stages[0])
    wheel, drive = names(offering, parts)
    found = choose(scenario, rows)
    crush = None
    if found is not None and found.solution is not None and ranged_over(stages):
        crush = float(found.solution.trial.crush[0, 0])
    return Option(
        wheel=wheel, drive=drive, crush=crush, exit_speed=None if found is None else found.settings.exit_speed,
        stages=None if found is None else found.count, at_most=False,
    )  # fmt: skip

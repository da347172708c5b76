"""Choose wheel, drive and design variables of each stage from what is offered.

First all stages have the same parts, and each choice is searched by itself. Then, for each stage count, single stages
get other parts as long as that is better, so that what limits on cost, length and mass leave is used where it gains
most. Crush, radius and inertia with a range are variables of the search, at first equal in all stages, then of each
stage its own where that is clearly better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations, product

import numpy as np

from stager.constraints import broken_by, not_judged
from stager.constraints.design import slip_heat
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario
from stager.model.stage import Stage
from stager.optimise.clock import Clock
from stager.optimise.judge import REACHED, TIE, least_speed, settings_at
from stager.optimise.problem import NO_MARGINS, FastestTables, Problem, Trial, spanned
from stager.optimise.records import Catalogue, Option, Parts, Settings
from stager.optimise.search import (
    ANSWER_EFFORT,
    COMPARISON_EFFORT,
    Solution,
    best,
    extended,
    fastest,
    improve,
    most_stages,
    score,
    solve,
)
from stager.physics.parts import VARIABLES, DesignVariable, Ends, extra_cost, fitted, free_variables

OTHER_PARTS = "other parts of the catalogue"
"""Work that a stopped search leaves undone."""
PROMISING = 3
"""Exchanges of one stage's parts, and parts of a stage more, that are refined."""
MOST_PAIRS = 300
"""Exchanges of the parts of two stages above which none is tried."""
CLEAR_GAIN = 1e-4
"""Gain of exit speed for which other parts are chosen [-]."""
COOLER = 0.99
"""Slip heat over that of other parts which reach an asked speed too, for which parts are chosen [-]."""
OWN_GAIN = 1e-3
"""Gain of exit speed for which stages get values of their own [-]."""
LITTLE = 5e-4
"""Gain of exit speed for which no dearer parts are chosen [-]."""
OVER = 1e-6
"""Share by which an asked speed may be exceeded [-]."""


def parts_of(stage: Stage) -> tuple[Parts, ...]:
    """Return the wheels and drives that may be chosen for a stage; no drive only where none is offered."""
    drives = range(0 if stage.drive is not None or not stage.drive_options else 1, len(stage.drive_options) + 1)
    return tuple(Parts(wheel, drive) for wheel in range(len(stage.wheel_options) + 1) for drive in drives)


def ranges_of(stages: Sequence[Stage]) -> dict[str, Ends]:
    """Return the range of each design variable by name, over all stages and parts."""
    kinds = [fitted(stage, *parts.kind) for stage in stages for parts in parts_of(stage)]
    ranges = {one.name: [ends for kind in kinds if (ends := one.range(kind)) is not None] for one in VARIABLES}
    return {name: (min(low for low, _ in ends), max(high for _, high in ends)) for name, ends in ranges.items() if ends}


def with_parts(scenario: Scenario, parts: Sequence[Parts]) -> Scenario:
    """Return the scenario with chosen parts, one for each stage; further stages have the last.

    Drawn launchers have the chosen values with their own errors.
    """
    written = scenario.launcher
    realise = _Realise(scenario.realise, tuple(parts), written)
    return replace(scenario, launcher=outfit(written, parts), realise=realise)


@dataclass(frozen=True, slots=True)
class _Realise:
    """Makes launchers with drawn values and the chosen parts."""

    given: Callable[[Mapping[str, Number]], Launcher]
    parts: tuple[Parts, ...]
    written: Launcher

    def __call__(self, values: Mapping[str, Number]) -> Launcher:
        return outfit(self.given(values), self.parts, self.written)


def outfit(launcher: Launcher, parts: Sequence[Parts], written: Launcher | None = None) -> Launcher:
    """Return the launcher with chosen parts; equal stages stay one record.

    written: the nominal launcher, where `launcher` is a draw of it: its errors stay in the chosen values.
    """
    made: dict[tuple[int, int, Parts], Stage] = {}

    def stage(index: int) -> Stage:
        given, nominal = launcher.stage(index), (written or launcher).stage(index)
        chosen = within(nominal, parts[min(index, len(parts) - 1)])
        key = id(given), id(nominal), chosen
        if key not in made:
            meant = None if given is nominal else fitted(nominal, *chosen.kind)
            made[key] = _built(fitted(given, *chosen.kind), meant, chosen.design)
        return made[key]

    alike = len(set(parts)) == 1
    count = len(launcher.stages) if alike else max(len(launcher.stages), len(parts))
    return replace(launcher, template=stage(max(count, len(parts))), stages=tuple(stage(k) for k in range(count)))


def _built(given: Stage, nominal: Stage | None, chosen: Mapping[str, float]) -> Stage:
    """Return a stage with the chosen values and the errors by which it differs from `nominal` (None: no errors)."""
    for variable in VARIABLES:
        if (value := chosen.get(variable.name)) is None:
            continue
        own: Number = value
        if nominal is not None:
            own = variable.carried(variable.value(given), variable.value(nominal), value)
            nominal = variable.change(nominal, value)
        given = variable.change(given, own)
    return given


def within(stage: Stage, parts: Parts) -> Parts:
    """Return the parts as far as a stage offers them, with values within its ranges."""
    offered = parts_of(stage)
    wheel, drive = parts.kind if any(parts.kind == each.kind for each in offered) else offered[0].kind
    ranges = {one.name: one.range(fitted(stage, wheel, drive)) for one in VARIABLES}
    values = {name: float(np.clip(value, *ends)) for name, value in parts.design.items() if (ends := ranges[name])}
    return Parts(wheel, drive).having(values)


def chosen_values(row: BestDesign) -> dict[str, tuple[float, ...]]:
    """Return the design variables of each stage of a row by name, those chosen in any stage."""
    found: dict[str, tuple[float, ...]] = {}
    for variable in VARIABLES:
        if any(variable.name in parts.design for parts in row.parts):
            stages = (row.scenario.launcher.stage(k) for k in range(row.count))
            found[variable.name] = tuple(float(np.mean(variable.value(stage))) for stage in stages)
    return found


def names(stage: Stage, parts: Parts) -> tuple[str, str]:
    """Return the names of wheel and drive, numbers where they have none."""
    drive = (stage.drive, *stage.drive_options)[parts.drive]
    wheel = (stage.wheel, *stage.wheel_options)[parts.wheel]
    return wheel.name or _number(parts.wheel), "" if drive is None else drive.name or _number(parts.drive)


def option_keys(stage: Stage, parts: Parts) -> dict[str, int | str]:
    """Return what selects the parts in a configuration, by key of the stage: the name where no other part has it."""
    found: dict[str, int | str] = {}
    for kind, number in zip(("wheel", "drive"), parts.kind, strict=True):
        options = stage.wheel_options if kind == "wheel" else stage.drive_options
        names = [part.name for part in options]
        if options:
            name = names[number - 1] if number else ""
            found[f"{kind}_option"] = name if name and names.count(name) == 1 else number
    return found


def _number(option: int) -> str:
    return f"option {option}" if option else "as written"


@dataclass(slots=True)
class BestDesign:
    """The best design found for a stage count.

    scenario: with its parts; parts: of each stage, empty where there was nothing to choose; solution: None for no
    stage.
    """

    count: int
    scenario: Scenario
    parts: tuple[Parts, ...]
    solution: Solution | None
    settings: Settings

    @property
    def design(self) -> Floats:
        """Values chosen from ranges, (stages, design variables), NaN of all others."""
        return np.array([[parts.design.get(one.name, np.nan) for one in VARIABLES] for parts in self.parts])

    def start(self, problem: Problem) -> Trial:
        """Return the settings as a trial of `problem`, in which design variables may be chosen."""
        assert self.solution is not None
        trial = replace(self.solution.trial, design=self.design[None]) if self.parts else self.solution.trial
        return problem.look(problem.adopt(trial))

    def dearer(self, other: BestDesign) -> float:
        """Return what its parts cost more than those of another design of as many stages; inf where that is unknown."""
        launchers = other.scenario.launcher, self.scenario.launcher
        extra = [extra_cost(*(launcher.stage(k) for launcher in launchers)) for k in range(self.count)]
        return float(sum(np.inf if each is None else float(np.mean(each)) for each in extra))

    @property
    def feasible(self) -> bool:
        """Whether it keeps every limit, reserves included."""
        return self.settings.feasible if self.solution is None else self.solution.feasible


@dataclass(slots=True)
class Selected:
    """Best designs by stage count.

    options: designs for each choice of parts that all stages share, empty where there was nothing to choose; common:
    the best of these by stage count.
    """

    rows: list[BestDesign]
    options: list[tuple[Parts, list[BestDesign]]] = field(default_factory=list)
    common: list[BestDesign] = field(default_factory=list)


def select(
    scenario: Scenario, clock: Clock, tell: Callable[[float], None] = lambda share: None,
    margins: Mapping[str, float] = NO_MARGINS,
) -> Selected:  # fmt: skip
    """Return the best design of each stage count, with the best parts for it."""
    return _Selection(scenario, clock, margins).run(tell)


def choose_again(scenario: Scenario, row: BestDesign, margins: Mapping[str, float], clock: Clock) -> BestDesign:
    """Return a design with its design variables chosen anew under other margins, starting from its own.

    scenario : with the ranges.
    """
    if row.solution is None:
        return row
    return _Selection(scenario, clock, margins, row.solution.problem.tables).again(row)


def opened(scenario: Scenario, row: BestDesign, margins: Mapping[str, float], clock: Clock) -> Problem:
    """Return the problem of a design that has a solution, with the design variables of `scenario` to be chosen."""
    assert row.solution is not None
    if not any(parts.design for parts in row.parts):
        return row.solution.problem
    return _Selection(scenario, clock, margins, row.solution.problem.tables).opened(row)


class _Selection:
    def __init__(
        self, scenario: Scenario, clock: Clock, margins: Mapping[str, float],
        tables: FastestTables | None = None,
    ) -> None:  # fmt: skip
        self.scenario, self.clock, self.margins = scenario, clock, margins
        self.tables = tables or FastestTables(scenario)
        self.stages = [scenario.launcher.stage(k) for k in range(max(scenario.limit_values.stages, 1))]
        self.offered = list(dict.fromkeys(parts for stage in self.stages for parts in parts_of(stage)))
        self.ranged = bool(ranges_of(self.stages))
        self.bare = settings_at(scenario, np.zeros(0))
        self.enough = least_speed(scenario)

    def run(self, tell: Callable[[float], None]) -> Selected:
        """Return the designs; tell: takes the share that is done [-]."""
        choices = self.offered
        whole: list[tuple[Parts, list[BestDesign]]] = []
        for number, parts in enumerate(choices):
            if number and self.clock.out(OTHER_PARTS):
                break
            whole.append((parts, self._rows(parts, whole)))
            tell((number + 1) / len(choices) * (1.0 if len(choices) == 1 and not self.ranged else 0.6))
        most = max(len(rows) for _, rows in whole)
        rows = [self._best([rows[count] for _, rows in whole if len(rows) > count]) for count in range(most)]
        if len(choices) == 1 and not self.ranged and choices[0] == Parts(0, 0):
            return Selected(rows)
        common = list(rows)
        if len(choices) > 1:
            rows = self._exchange(rows, whole)
            rows = [self._cheapest([row, *(found[row.count] for _, found in whole if len(found) > row.count)])
                    for row in rows]  # fmt: skip
        if self.ranged:
            rows = [self._chosen_values(row) for row in rows]
        tell(1.0)
        return Selected(rows, whole, common)

    def _build(self, scenario: Scenario, count: int, choose: str | None) -> Problem:
        return Problem(
            scenario, count, tables=self.tables, margins=self.margins, choose=choose, clock=self.clock
        )  # fmt: skip

    def _rows(self, parts: Parts, known: Sequence[tuple[Parts, list[BestDesign]]]) -> list[BestDesign]:
        """Return the best design of each stage count with the same parts in every stage that offers them."""
        plain = len(self.offered) == 1 and not self.ranged and parts == Parts(0, 0)
        scenario = self.scenario if plain else with_parts(self.scenario, [parts])
        rows = [BestDesign(0, self.scenario, (), None, self.bare)]
        best_known = [self._best([rows[count] for _, rows in known if len(rows) > count]) for count in
                      range(max((len(rows) for _, rows in known), default=0))]  # fmt: skip
        most = most_stages(scenario.launcher, scenario)
        for count in range(1, most + 1):
            problem = self._build(scenario, count, "common" if self.ranged else None)
            before = rows[-1].solution
            if before is not None:
                problem.continue_from(before.problem)
            shorter = [] if before is None else [before.trial]
            starts = [row.solution.trial for row in best_known[count : count + 1] if row.solution is not None]
            leader = best_known[count].solution if starts else None
            solved = partial(self._solved, problem, shorter, starts, leader)
            # Where other parts were searched with so many stages, rows for these are there.
            undone = OTHER_PARTS if count < len(best_known) else f"{count} and more stages"
            # A plan has one stage at least, however little time there is.
            found = solved() if count == 1 and not known else self.clock.attempt(undone, solved)
            if found is None:
                break
            rows.append(BestDesign(count, scenario, () if plain else (parts,) * count, found, found.settings))
        return rows

    def _solved(
        self, problem: Problem, shorter: Sequence[Trial], starts: Sequence[Trial], leader: Solution | None
    ) -> Solution:
        found = solve(problem, shorter, starts, COMPARISON_EFFORT if starts else ANSWER_EFFORT)
        return improve(problem, found.trial) if leader is not None and _near(found, leader) else found

    def _best(self, rows: Sequence[BestDesign]) -> BestDesign:
        leader = rows[0]
        for row in rows[1:]:
            if self._ahead(row, leader):
                leader = row
        return leader

    def _ahead(self, one: BestDesign, other: BestDesign) -> bool:
        """Whether a design is clearly better than another of the same stage count: feasible, faster, or cooler.

        Of two that reach a speed that is asked for, neither counts as faster.
        """
        if one.feasible != other.feasible:
            return one.feasible
        if not one.feasible:
            pair = [np.inf if row.solution is None else float(row.solution.trial.violation[0]) for row in (one, other)]
            return pair[0] < pair[1]
        speeds = [row.settings.exit_speed for row in (one, other)]
        heats = [float(slip_heat(row.settings.design)) for row in (one, other)]
        if self.enough is not None and min(speeds) >= self.enough:
            return heats[0] < COOLER * heats[1]
        gain = speeds[0] / max(speeds[1], 1e-12) - 1
        return gain > CLEAR_GAIN or (gain > -CLEAR_GAIN and heats[0] < 0.9 * heats[1])

    def _clearly_ahead(self, one: BestDesign, other: BestDesign) -> bool:
        """Whether a design is better than `other` with configured values: faster, or as fast with much less heat."""
        if not other.feasible:
            return True
        heats = [float(slip_heat(row.settings.design)) for row in (one, other)]
        most = np.inf if self.enough is None else self.enough
        speeds = [min(row.settings.exit_speed, most) for row in (one, other)]
        faster = speeds[0] > speeds[1] * (1 + 2 * CLEAR_GAIN)
        same = speeds[0] > speeds[1] * (1 - 2 * CLEAR_GAIN)
        return one.feasible and (faster or (same and heats[0] < 0.9 * heats[1]))

    def _cheapest(self, rows: Sequence[BestDesign]) -> BestDesign:
        """Return the first of designs of one stage count, or a cheaper one that is hardly slower.

        Of those that reach a speed that is asked for, a cheaper one that is hardly hotter.
        """
        leader = rows[0]
        least, hottest = leader.settings.exit_speed * (1 - LITTLE), np.inf
        if self.enough is not None and leader.settings.exit_speed >= self.enough:
            least, hottest = self.enough, float(slip_heat(leader.settings.design)) / COOLER
        near = [
            row for row in rows
            if row.feasible == leader.feasible and row.settings.exit_speed >= least
            and float(slip_heat(row.settings.design)) <= hottest
        ]  # fmt: skip
        return min(near, key=lambda row: row.dearer(leader), default=leader) if leader.feasible else leader

    def _exchange(
        self, rows: list[BestDesign], whole: Sequence[tuple[Parts, list[BestDesign]]]
    ) -> list[BestDesign]:  # fmt: skip
        """Return the designs with parts of their own for single stages, where that is better."""
        out = rows[:1]
        limit = max(self.scenario.limit_values.stages, len(rows) - 1)
        for count in range(1, limit + 1):
            starts = [rows[count]] if count < len(rows) else []
            before = out[count - 1]
            undone = "parts of single stages" if starts else f"{count} and more stages"
            if before.solution is not None or count == 1:
                starts += self.clock.attempt(undone, partial(self._grown, before)) or []
            # The best parts with one stage less may leave no room for another, where others do.
            others = [found[count - 1] for _, found in whole if len(found) >= count] if not starts else []
            for one in sorted(others, key=lambda one: -one.settings.exit_speed):
                starts = starts or self.clock.attempt(undone, partial(self._grown, one)) or []
            if not starts:
                break
            # Designs as fast to CLEAR_GAIN may follow in a circle, each cooler or faster than the one before.
            seen = set[tuple[Parts, ...]]()
            better: BestDesign | None = self._best(starts)
            while better is not None and better.parts not in seen:
                row = better
                seen.add(row.parts)
                better = self.clock.attempt("parts of single stages", partial(self._exchanged, row))
            out.append(row)
        return out

    def _grown(self, before: BestDesign) -> list[BestDesign]:
        """Return designs with one more stage, of the parts that promise most; none that limits on the build forbid."""
        if before.solution is None or not before.feasible:
            return []
        shorter, tried = before.solution.trial, []
        for parts in self.offered:
            chosen = (*before.parts, parts)
            scenario = with_parts(self.scenario, chosen)
            if broken_by(spanned(scenario.launcher, len(chosen)), scenario.limit_values, len(chosen)):
                continue
            problem = self._build(scenario, len(chosen), "common" if self.ranged else None)
            tried.append((float(score(fastest, extended(problem, shorter)).max()), chosen, scenario, problem))
        tried.sort(key=lambda one: -one[0])
        grown: list[BestDesign] = []
        for _, chosen, scenario, problem in tried[:PROMISING]:
            found = solve(problem, [shorter], effort=COMPARISON_EFFORT)
            grown.append(BestDesign(len(chosen), scenario, chosen, found, found.settings))
        return grown

    def _exchanged(self, row: BestDesign) -> BestDesign | None:
        """Return a better design with other parts in one stage, or in two; None where none is better.

        Two at once spend what limits on cost, mass and length leave where neither exchange alone gains.
        """
        return self._with_others(row, 1) or self._with_others(row, 2)

    def _with_others(self, row: BestDesign, many: int) -> BestDesign | None:
        """Return a better design with other parts in `many` stages; None where none is better."""
        if row.solution is None or row.count < many:
            return None
        others = [[one for one in parts_of(self._stage(k)) if one.kind != row.parts[k].kind] for k in range(row.count)]
        changes = [
            dict(zip(places, parts, strict=True))
            for places in combinations(range(row.count), many)
            for parts in product(*(others[k] for k in places))
        ]
        if many > 1 and len(changes) > MOST_PAIRS:
            return None
        trial, tried = row.solution.trial, []
        shares = np.log([1.0, 0.97, 0.9, 0.75])[:, None]
        for change in changes:
            chosen = tuple(change.get(k, parts) for k, parts in enumerate(row.parts))
            scenario = with_parts(self.scenario, chosen)
            if broken_by(spanned(scenario.launcher, row.count), scenario.limit_values, row.count):
                continue
            problem = self._build(scenario, row.count, "common" if self.ranged else None)
            x = np.tile(problem.adopt(trial), (shares.size, 1))
            x[:, : row.count] += shares
            looked = problem.look(x)
            tried.append((float(score(fastest, looked).max()), chosen, scenario, problem, best(fastest, looked)))
        tried.sort(key=lambda one: -one[0])
        for _, chosen, scenario, problem, start in tried[:PROMISING]:
            found = improve(problem, start, COMPARISON_EFFORT)
            candidate = BestDesign(row.count, scenario, chosen, found, found.settings)
            if self._ahead(candidate, row):
                found = improve(problem, found.trial)
                return self._best([candidate, BestDesign(row.count, scenario, chosen, found, found.settings)])
        return None

    def _chosen_values(self, row: BestDesign) -> BestDesign:
        """Return the design with rounded design variables, as one can make and set them."""
        if row.solution is None:
            return row
        found, trial = row.solution, row.solution.trial
        if row.count > 1 and row.feasible:
            better = self.clock.attempt("wheels and crush of its own for each stage", partial(self._own, row, trial))
            least = found.settings.exit_speed * (1 + OWN_GAIN)
            if better is not None and better.feasible and better.settings.exit_speed > least:
                found = better
        best = self._rounded(row, found.trial)
        # The configured values stay where others gain nothing: all of them, or one by one.
        names = [one.name for one in VARIABLES if any(one.name in parts.design for parts in best.parts)]
        kept = [names, *([name] for name in names if len(names) > 1)]
        for left in kept:
            if all(self._written_fits(k, left, best.parts[k]) for k in range(row.count)):
                plain = tuple(self._as_written(k, left, parts) for k, parts in enumerate(best.parts))
                written = self._improved(row, plain, best.solution.trial if best.solution else trial)
                if written.feasible and not self._clearly_ahead(best, written):
                    best = written
                    if left == names:
                        break
        return best

    def _own(self, row: BestDesign, trial: Trial) -> Solution:
        own = self._build(row.scenario, row.count, "own")
        # The best own values may be far from the common ones, so the whole ranges are searched.
        return solve(own, starts=[own.look(own.adopt(trial))])

    def again(self, row: BestDesign) -> BestDesign:
        """See `choose_again`."""
        if row.solution is None:
            return row
        fixed = self._improved(row, row.parts, row.solution.trial)
        problem = self.opened(row)
        found = improve(problem, row.start(problem))
        return self._best([fixed, self._rounded(row, found.trial)])

    def opened(self, row: BestDesign) -> Problem:
        """Return the problem of a design in which its design variables may be chosen."""
        scenario = with_parts(self.scenario, [Parts(*parts.kind) for parts in row.parts])
        return self._build(scenario, row.count, "own" if len(set(row.parts)) > 1 else "common")

    def _written_fits(self, k: int, names: Sequence[str], parts: Parts) -> bool:
        """Whether the configured values of the named design variables of stage `k` lie within their ranges."""
        stage = fitted(self._stage(k), *parts.kind)
        free = {one: one.range(stage) for one in free_variables(stage) if one.name in names}
        return all(ends is None or ends[0] <= float(one.value(stage)) <= ends[1] for one, ends in free.items())

    def _as_written(self, k: int, names: Sequence[str], parts: Parts) -> Parts:
        """Return parts with the configured values of the named design variables."""
        stage = fitted(self._stage(k), *parts.kind)
        return parts.having({name: float(_named(name).value(stage)) for name in names if name in parts.design})

    def _rounded(self, row: BestDesign, trial: Trial) -> BestDesign:
        """Return the best design with each design variable rounded down or up."""
        names = sorted({one.name for k, parts in enumerate(row.parts) for one in self._free(k, parts)})
        tried = []
        for ways in product((False, True), repeat=len(names)):
            upward = dict(zip(names, ways, strict=True))
            parts = tuple(self._made(k, one, trial.design[0, k], upward) for k, one in enumerate(row.parts))
            scenario = with_parts(self.scenario, parts)
            broken = broken_by(scenario.launcher, scenario.limit_values, row.count, self.margins)
            looked = self._build(scenario, row.count, None).look_at(trial.lead * np.linspace(1.0, 0.97, 13)[:, None])
            tried.append((len(broken), -float(score(fastest, looked).max()), parts))
        tried.sort(key=lambda one: one[:2])
        return self._best([self._improved(row, parts, trial) for _, _, parts in tried[:2]])

    def _made(self, k: int, parts: Parts, design: Floats, upward: Mapping[str, bool]) -> Parts:
        """Return parts with rounded design variables of stage `k`, (design variables,); upward: by name."""
        stage = fitted(self._stage(k), *parts.kind)
        return Parts(*parts.kind).having({
            one.name: _round(float(value), one, stage, upward=upward[one.name])
            for one, value in zip(VARIABLES, design, strict=True) if one in free_variables(stage)
        })  # fmt: skip

    def _free(self, k: int, parts: Parts) -> tuple[DesignVariable, ...]:
        """Return the design variables of stage `k` with these parts that may be chosen."""
        return free_variables(fitted(self._stage(k), *parts.kind))

    def _improved(self, row: BestDesign, parts: tuple[Parts, ...], trial: Trial) -> BestDesign:
        """Return the best design with fixed parts near a trial."""
        scenario = with_parts(self.scenario, parts)
        problem = self._build(scenario, row.count, None)
        again = improve(problem, replace(trial, x=problem.adopt(trial), design=trial.design))
        return BestDesign(row.count, scenario, parts, again, again.settings)

    def _stage(self, k: int) -> Stage:
        return self.stages[min(k, len(self.stages) - 1)]


def _named(name: str) -> DesignVariable:
    return next(variable for variable in VARIABLES if variable.name == name)


def _round(value: float, variable: DesignVariable, stage: Stage, *, upward: bool) -> float:
    """Return a value rounded to the digits of its variable, within the range of a stage."""
    unit = 10.0 ** (np.floor(np.log10(max(value, 1e-15))) - variable.digits + 1)
    steps = (np.ceil if upward else np.floor)(value / unit + (-1e-6 if upward else 1e-6))
    low, high = variable.range(stage) or (value, value)
    return min(max(float(f"{steps * unit:.{variable.digits}g}"), low), high)


def _near(found: Solution, other: Solution) -> bool:
    return found.settings.exit_speed > other.settings.exit_speed * (1 - 0.01) or found.feasible > other.feasible


def choose(scenario: Scenario, rows: Sequence[BestDesign]) -> BestDesign | None:
    """Return the fastest design, or where a speed is asked for the one with the fewest stages that reaches it.

    rows: best design of each stage count. None where no design is feasible.
    """
    fits = [row for row in rows if row.feasible]
    if not fits:
        return None
    asked, most = (least_speed(scenario, short) for short in (REACHED, -OVER))
    if asked is None or most is None:
        greatest = max(row.settings.exit_speed for row in fits)
        return next(row for row in fits if row.settings.exit_speed >= greatest * (1 - TIE))
    return next((row for row in fits if asked <= row.settings.exit_speed <= most), None)


def catalogue_of(scenario: Scenario, selected: Selected, final: BestDesign | None) -> Catalogue | None:
    """Return the choices that were open and those of the design `final`; None where there was nothing to choose."""
    if not selected.options:
        return None
    parts = () if final is None else final.parts
    stages = [scenario.launcher.stage(k) for k in range(len(parts))]
    alike, gain = len(set(parts)) <= 1, None
    if not alike and final is not None and final.count < len(selected.common):
        single = selected.common[final.count]
        gain = final.settings.exit_speed / single.settings.exit_speed - 1 if single.feasible else None
    everywhere = [scenario.launcher.stage(k) for k in range(max(scenario.limit_values.stages, 1))]
    return Catalogue(
        options=tuple(_option(everywhere, one, choose(scenario, found)) for one, found in selected.options),
        numbers=tuple(parts), one_for_all=alike, mixed_gain=gain,
        chosen=tuple(names(stage, one) for stage, one in zip(stages, parts, strict=True)),
        design={} if final is None else chosen_values(final), asked=ranges_of(everywhere), not_judged=_unknown(final),
    )  # fmt: skip


def _unknown(row: BestDesign | None) -> tuple[str, ...]:
    """Return the names of the limits that cannot be judged at a design."""
    return () if row is None else tuple(one.name for one in not_judged(row.settings.design))


def _option(stages: Sequence[Stage], parts: Parts, found: BestDesign | None) -> Option:
    offering = next((one for one in stages if parts.kind in [each.kind for each in parts_of(one)]), stages[0])
    wheel, drive = names(offering, parts)
    design = {}
    if found is not None and found.solution is not None:
        design = found.solution.trial.design[0, 0]
        design = {one.name: float(value) for one, value in zip(VARIABLES, design, strict=True) if not np.isnan(value)}
    return Option(
        wheel=wheel, drive=drive, design=design, exit_speed=None if found is None else found.settings.exit_speed,
        stages=None if found is None else found.count, at_most=False, not_judged=_unknown(found),
    )  # fmt: skip

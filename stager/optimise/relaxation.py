"""What looser limits would gain, and why no design fits: which limits conflict with the goal, and by how much.

A limit that is looser by a share is the same limit with a negative least slack, so all limits are treated alike. The
sensitivity to a limit is the gain of exit speed where it is slightly looser; one more stage is treated likewise.

Limits in conflict are found by a deletion filter (Chinneck, Feasibility and Infeasibility in Optimization, 2008):
limits are dropped as long as the goal stays out of reach without them, many at once and by halves where those are too
many (Junker, QUICKXPLAIN; abstract read). Fewer limits allow no less, so what is known of some sets tells of others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from functools import cached_property, partial, reduce
from itertools import chain
from typing import Any

import numpy as np

from stager.constraints import (
    GEOMETRY,
    LIMITS,
    Kind,
    LimitResult,
    OperatingPoint,
    broken_by,
    evaluate,
    exit_cap,
    no_throw,
    speed_range,
)
from stager.model.arrays import Floats, rounded
from stager.model.launcher import Scenario
from stager.model.requirements import Aim, Goal, LimitValues
from stager.optimise.clock import Clock
from stager.optimise.draws import Draws
from stager.optimise.judge import ACTIVE, REACHED, least_speed, settings_at
from stager.optimise.judge import active as active_of
from stager.optimise.parts import BestDesign, parts_of, with_parts
from stager.optimise.problem import NO_MARGINS, FastestTables, Problem, Trial
from stager.optimise.records import Missed, Relaxation, Settings
from stager.optimise.robust import margin_of
from stager.optimise.search import (
    ANSWER_EFFORT,
    CANDIDATE_EFFORT,
    COMPARISON_EFFORT,
    RESTORED,
    best,
    correct_grip,
    explore,
    extended,
    fastest,
    launcher_of,
    most_stages,
    promising,
    refine,
    refine_all,
    solve,
)
from stager.optimise.spin import most_spin
from stager.physics.flight import outlet_speed, speed_before_outlet

MORE = 0.01
"""Share by which limits are loosened for their prices [-]."""
WORTHLESS = 1e-5
"""Gain below which a limit does not hold a plan back [-]."""
SPEED_EFFORT = replace(COMPARISON_EFFORT, cool=False)
"""Effort for how fast one more stage throws."""
FLOORS = {limit.name for limit in LIMITS if limit.floor}
ENDS = {limit.name: limit.end for limit in LIMITS}
ORIGINS = {limit.name: limit.origin for limit in LIMITS}
BUILT = {limit.name for limit in LIMITS if limit.kind is Kind.DESIGN}
FOLLOWING = {limit.name: limit.follows for limit in LIMITS if limit.follows is not None}
NARROWING = {limit.name for limit in LIMITS if limit.kind in (Kind.WHEEL, Kind.THROW)}
"""Limits that the ranges of wheel and exit speeds follow from."""
UNITS = {limit.name: limit.unit for limit in LIMITS}
NOISE = 2e-12
"""Share of a value by which `rounded` may miss the side it is to go to [-]."""
SLOWEST = 1e-3
"""Least exit speed behind the outlet that is asked for [m/s]."""
FREE = -1e9
"""Slack that sets a limit free [-]."""


def looser(margins: Mapping[str, float], name: str, factor: float) -> dict[str, float]:
    """Return margins with the named limit looser by `factor`; a floor is divided by it."""
    margin = margins.get(name, 0.0)
    loose = (1.0 + margin) / factor - 1.0 if name in FLOORS else 1.0 - factor * (1.0 - margin)
    return {**margins, name: loose}


def without(margins: Mapping[str, float], names: tuple[str, ...] | list[str]) -> dict[str, float]:
    """Return margins with the named limits set free."""
    return {**margins, **dict.fromkeys(names, FREE)}


def followed(scenario: Scenario, margins: Mapping[str, float], held: Mapping[str, float]) -> Mapping[str, float]:
    """Return margins under which limits that follow from others are as much looser as these.

    held: margins under which no limit is loosened [-].
    """
    out, point = margins, _unthrown(scenario, 1)
    factors = {name: (1.0 - margin) / (1.0 - held.get(name, 0.0)) for name, margin in margins.items()}
    for name, follows in FOLLOWING.items():
        now, wider = (min(float(one) for one in follows(point, given).values()) for given in ({}, factors))
        if wider > now:
            out = looser({**out, name: held.get(name, 0.0)}, name, wider / now if now > 0 else -FREE)
    return out


def set_by(name: str, point: OperatingPoint, most: float = 0.0) -> frozenset[str]:
    """Return the names of the limits that set the bound of a limit: its own, or those that it follows from.

    most: bounds up to this one count too, in the unit of the limit.
    """
    follows = FOLLOWING.get(name)
    if follows is None:
        return frozenset([name])
    bounds = {one: float(bound) for one, bound in follows(point, {}).items()}
    most = max(most, (1.0 + ACTIVE) * min(bounds.values()))
    return frozenset(one for one, bound in bounds.items() if bound <= most)


def _unthrown(scenario: Scenario, count: int) -> OperatingPoint:
    """Return a point of `count` stages, for bounds and for limits on what is built."""
    return OperatingPoint(
        launcher=scenario.launcher, limit_values=scenario.limit_values, throw=no_throw(np.zeros(count))
    )


def prices(
    row: BestDesign, active: frozenset[str], margins: Mapping[str, float], more: float, clock: Clock, problem: Problem
) -> dict[str, float]:
    """Return the relative gain of exit speed for each active limit if it is 1 % looser, by solving again.

    active : names of active limits, of which those that follow from others have no price; more : gain of one more
    stage [-]; problem : that of the design, with its design variables to be chosen. Empty where an exit speed is asked
    for, or no stage is used.
    """
    if row.solution is None or row.scenario.goal.asked is not None:
        return {}
    base = clock.attempt("prices", lambda: again(problem, row.start(problem), margins))
    found: dict[str, float] = {}
    for name in sorted(active - FOLLOWING.keys() if base is not None else ()):
        wider = followed(row.scenario, looser(margins, name, 1.0 + MORE), margins)
        if name in BUILT and _counts_stages(row, name):
            continue
        price = 0.0
        if name in BUILT and not broken_by(row.scenario.launcher, row.scenario.limit_values, row.count + 1, wider):
            price = more
        if base is not None and (name not in BUILT or problem.choices):
            loose = clock.attempt("prices", partial(again, problem, base, wider))
            if loose is None:
                break
            price = max(float(loose.exit_speed[0] / base.exit_speed[0] - 1), price)
        found[name] = price
    return found


def _counts_stages(row: BestDesign, name: str) -> bool:
    """Whether a limit counts stages, so that it cannot be 1 % looser."""
    limit = next(limit for limit in LIMITS if limit.name == name)
    return limit.unit == "-"


def again(problem: Problem, start: Trial, margins: Mapping[str, float]) -> Trial:
    """Return the best settings near known ones under other margins."""
    return refine(other := under(problem, margins), other.look(start.x), fastest, ANSWER_EFFORT)


def under(problem: Problem, margins: Mapping[str, float]) -> Problem:
    """Return a problem with other margins."""
    other = Problem(
        problem.scenario, problem.count, launcher=problem.launcher, tables=problem.tables, margins=margins,
        choose=problem.choose, clock=problem.clock,
    )  # fmt: skip
    other.grip_correction, other.grip_found = problem.grip_correction, problem.grip_found
    return other


def one_more(row: BestDesign, rows: list[BestDesign], margins: Mapping[str, float]) -> float:
    """Return the relative gain of one more stage, behind at least one, without limits on what is built.

    0 where no settings with it keep the others.
    """
    assert row.solution is not None
    if row.count + 1 < len(rows):
        found = rows[row.count + 1].settings
        kept = all(result.satisfied for result in found.verdicts if result.name not in BUILT)
        speed = found.exit_speed if kept else 0.0
    else:
        known, values = row.solution.problem, row.scenario.limit_values
        built: dict[str, Any] = {**dict.fromkeys(BUILT & VALUES), "stages": row.count + 1}
        free = replace(row.scenario, limit_values=replace(values, **built))
        problem = Problem(free, row.count + 1, tables=known.tables, margins=margins, clock=known.clock)
        solution = solve(problem, [row.solution.trial], effort=SPEED_EFFORT)
        speed = solution.settings.exit_speed if solution.feasible else 0.0
    return max(speed / row.settings.exit_speed - 1, 0.0)


TURN = 2 * np.pi
"""Angle of a turn [rad]."""
MANY = 6
"""Greatest number of further stages that are considered."""
SHORTFALL = 2e-4
"""Relative shortfall below which a needed value reaches the speed [-]: less than REACHED, as a plan with it is to reach
the speed too."""
FIRST = 1.02
"""First factor by which limits are loosened [-]."""
WIDEST = 64.0
"""Greatest factor on a lower bound, where without it nothing is left of it [-]."""
TRIES = 16
"""Greatest number of factors tried."""
SHARP = 1e-3
"""Relative interval at which the search for a factor ends [-]."""
ROUGH = 0.03
"""Relative interval at which it ends while numbers of stages are compared [-]."""
WIDE = 1.5
"""Logarithm of the greatest step from one factor to the next [-]."""
NEARER = 0.9
"""Share of the interval of factors, on a logarithmic scale, at which every other one is tried [-]."""
GENEROUS = 3.0
"""Factor on the gain of a stage, up to which the next may add more [-]."""
FASTER: Floats = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0])
"""Factors on the least exit speed worth a stage that are tried, as a stage may jam where it throws slowly [-]."""
CLEAR = 1e-4
"""Slack that a design must have beyond the reserve to keep a limit beyond doubt [-]."""
DIGITS = 4
"""Digits of a needed limit value."""
RESERVED = 1e-3
"""Greater reserve of a design with looser limits for which needed values are found anew [-]."""
VALUES = {one.name for one in fields(LimitValues)}
CONFLICTS = "which limits are in conflict"
REMEDIES = "what would make it fit"
"""Work that a stopped search leaves undone."""
NO_STAGE = "No stage was found that throws faster than the feed within the limits."
STAYS = "No stage was found with which the projectile leaves the outlet within the limits."
OUT_OF_REACH = " Without these limits and with six more stages none was found either."


def explain(
    rows: Sequence[BestDesign], margins: Mapping[str, float], bound: float | None, clock: Clock, *,
    proven: bool = True, drawn: Draws | None = None,
) -> Missed:  # fmt: skip
    """Return why no design fits, and which looser limits would help.

    Parameters
    ----------
    rows : sequence of BestDesign
        Best design of each stage count.
    margins : mapping
        Reserves of limits by name [-].
    bound : float or None
        Exit speed that no setting within the limits exceeds [m/s], None: not known.
    clock : Clock
    proven : bool
        Whether the bound is proven.
    drawn : Draws, optional
        Builds that are to keep the hard limits under the needed values too.
    """
    scenario, goal, fed = rows[0].scenario, rows[0].scenario.goal, rows[0].settings
    fits = [row for row in rows if row.feasible]
    if not fits and goal.spin and not _broken(fed):
        return _spin_missed(scenario, rows, goal.spin)
    asked, wheel = goal.asked, least_speed(scenario, 0.0)
    if fits and wheel is not None and fed.exit_speed > wheel:
        reason = (
            f"No setting was found that throws as slowly as {asked:.4g} m/s: the feed alone gives "
            f"{float(fed.design.outlet_speed):.4g} m/s, and the projectile jams at wheels that slow."
        )
        return Missed(reason=reason, proven=False, nearest=fed)
    if not fits and wheel is not None and fed.exit_speed >= wheel * (1.0 - REACHED):
        return _broken_as_fed(fed, (), ())  # As fast as asked without a stage: only the limits that it breaks matter.
    nearest = max(fits, key=lambda row: row.settings.exit_speed, default=rows[0])
    worth, leaves = fed.exit_speed * (1.0 + goal.worthwhile), float(speed_before_outlet(scenario.launcher, SLOWEST))
    aimed = max(worth, leaves) / (1.0 - REACHED) if wheel is None else wheel
    names, relaxations, more = tuple[str, ...](), tuple[Relaxation, ...](), ""
    speeds = aimed * FASTER[: 1 if asked is not None else None]
    reach = clock.attempt(CONFLICTS, lambda: _reaching(rows, nearest, speeds, margins, clock))
    if reach is not None:
        names = clock.attempt(CONFLICTS, reach.conflict) or ()
        relaxations = reach.relaxations(names) if names else ()
        needed = clock.attempt(REMEDIES, partial(reach.reserve, drawn)) if drawn is not None else None
        if needed and any(more > margins.get(name, 0.0) + RESERVED for name, more in needed.items()):
            # The design that the looser limits allow needs more reserve than the nearest one does.
            held = {**margins, **{name: max(more, margins.get(name, 0.0)) for name, more in needed.items()}}
            again = reach.under(held)
            wider = clock.attempt(REMEDIES, again.conflict)
            if wider:
                names, relaxations = wider, again.relaxations(wider)
        more = OUT_OF_REACH if clock.attempt(CONFLICTS, reach.reachable) is False else ""
    if not fits:
        return _broken_as_fed(fed, names, relaxations)
    # Reserves depend on the settings: others, which scatter less, may need less.
    cap = float(exit_cap(scenario.launcher, scenario.limit_values))
    least = aimed * (1.0 - REACHED)
    alone = bound is None or (not proven and cap < least)
    most = cap if bound is None or alone else min(cap, bound)
    sure = proven or cap < least
    near, far = (float(outlet_speed(scenario.launcher, each)) for each in (nearest.settings.exit_speed, most))
    reason = (STAYS if worth < leaves else NO_STAGE) if asked is None else _reason(asked, near, far, sure, alone=alone)
    return Missed(
        reason=reason + more, proven=sure and most < least, nearest=nearest.settings, conflict=names,
        relaxations=relaxations,
    )  # fmt: skip


def _reaching(
    rows: Sequence[BestDesign], nearest: BestDesign, speeds: Floats, margins: Mapping[str, float],
    clock: Clock,
) -> _Reach:  # fmt: skip
    """Return the search with the parts of the nearest design; where these never reach the speed, with others that do.

    speeds: exit speeds behind the last wheel of which the first that can be reached is searched for [m/s]. Where no
    stage fits, the parts are those that break limits the least.
    """
    given = rows[0].scenario
    model = nearest if nearest.count else min(rows[1:], key=_violation, default=nearest)
    stages = [given.launcher.stage(k) for k in range(max(given.limit_values.stages, 1))]
    offered = list(dict.fromkeys(parts for stage in stages for parts in parts_of(stage)))
    own = [parts.kind for parts in model.parts[:1]]
    others = (with_parts(given, [parts]) for parts in offered if parts.kind not in own and len(offered) > 1)
    tried = []
    for scenario in chain([model.scenario], others):
        for asked in speeds:
            tried.append(_Reach(scenario, rows, nearest, float(asked), margins, clock))
            if tried[-1].reachable():
                return tried[-1]
    return tried[0]


def _violation(row: BestDesign) -> float:
    return np.inf if row.solution is None else float(row.solution.trial.violation[0])


class _Reach:
    """Searches for exit speeds under looser limits, up to the speed that is asked for.

    scenario: with the parts of all designs; rows: best design of each stage count; nearest: the fastest that fits;
    asked: exit speed behind the last wheel [m/s].
    """

    def __init__(
        self, scenario: Scenario, rows: Sequence[BestDesign], nearest: BestDesign, asked: float,
        margins: Mapping[str, float], clock: Clock,
    ) -> None:  # fmt: skip
        leaves = max(float(outlet_speed(scenario.launcher, asked)), SLOWEST)
        self.scenario = replace(scenario, goal=Goal(aim=Aim.REACH, exit_speed=leaves, spin=scenario.goal.spin))
        self.rows, self.row, self.nearest = rows, nearest, nearest.settings
        self.asked, self.margins, self.clock = asked, margins, clock
        self.least = asked * (1 - REACHED)
        """Exit speed behind the last wheel that is enough [m/s]."""
        self.count = nearest.count
        point = _unthrown(scenario, max(self.count, 1))
        bounds = [(limit, limit.bound(point)) for limit in LIMITS if limit.follows is None]
        self.bounds = {limit.name: float(np.max(bound)) for limit, bound in bounds if bound is not None}
        """Bounds of all limits that are set, by name."""
        near = active_of(self.scenario, nearest.settings, [])
        missed = {one.name for row in rows[self.count + 1 :] for one in _broken(row.settings)}
        self.tight = frozenset[str]().union(*(set_by(name, point) for name in near | missed))
        """Limits that the nearest design uses up, or that designs with more stages break."""
        known = nearest.solution
        self._tables = {frozenset[str](): FastestTables(self.scenario) if known is None else known.problem.tables}
        self._known: dict[tuple[tuple[str, float], ...], tuple[float, Trial | None, Problem | None]] = {}
        self.found = [] if known is None else [known.trial]
        self._corrections = {} if known is None else {known.problem.count: known.problem.grip_correction}
        self.remedied: tuple[dict[str, float], Trial, Problem] | None = None
        """Limit values that are told, and the design that they allow."""
        self._sufficient: list[frozenset[str]] = []
        # The plan has found that the speed is out of reach within all limits.
        self._insufficient: list[frozenset[str]] = [frozenset()]

    def under(self, margins: Mapping[str, float]) -> _Reach:
        """Return the search under greater reserves, which has the designs found here to start from."""
        other = _Reach(self.scenario, self.rows, self.row, self.asked, margins, self.clock)
        other.found += self.found
        # What is not enough to loosen here is not enough there.
        other._insufficient += self._insufficient
        return other

    def tables(self, margins: Mapping[str, float]) -> FastestTables:
        """Return the tables for margins: made without those limits that are looser and narrow their range."""
        free = frozenset(
            name for name in self.tight & NARROWING if margins.get(name, 0.0) < self.margins.get(name, 0.0)
        )
        if free not in self._tables:
            self._tables[free] = FastestTables(self.scenario, without({}, sorted(free)))
        return self._tables[free]

    @cached_property
    def fewest(self) -> int:
        """Fewest stages that reach the asked speed without any limit; 0 where none do."""
        speed, _, problem = self.best(without(self.margins, sorted(self.bounds)))
        return 0 if problem is None or speed < self.least else problem.count

    def best(self, margins: Mapping[str, float], *, near: int = 0) -> tuple[float, Trial | None, Problem | None]:
        """Return exit speed [m/s] and settings of the best design under margins.

        near: with so many stages or more, search only from designs found before, where there are any; 0: no.
        """
        margins = followed(self.scenario, margins, self.margins)
        key = tuple(sorted(margins.items()))
        if key not in self._known:
            self._known[key] = self._best(margins, near)
        return self._known[key]

    def _best(self, margins: Mapping[str, float], near: int) -> tuple[float, Trial | None, Problem | None]:
        # The goal keeps settings from exceeding the asked speed.
        most = most_stages(self.scenario.launcher, self.scenario, margins, self.count + MANY)
        out: tuple[float, Trial | None, Problem | None] = (float(self.scenario.launcher.feed.speed), None, None)
        steps: list[tuple[int, float]] = []
        violation, before = np.inf, list[Trial]()
        # One by one: each stage takes its share of power, current and heat, so that the most need not throw fastest.
        for count in range(max(self.count, near, 1), most + 1):
            if _hopeless(steps, most, self.least):
                break
            trial, problem = self._best_of(count, margins, before, near=bool(near))
            before = [] if trial.jammed[0] else [trial]
            if trial.violation[0] > 0:
                if trial.violation[0] > violation * (1 - SHARP):
                    break  # More stages bring it no nearer to the limits.
                violation = float(trial.violation[0])
                continue
            steps.append((count, float(trial.exit_speed[0])))
            if steps[-1][1] <= out[0]:
                break
            out = steps[-1][1], trial, problem
            if out[0] >= self.least:
                break
        return out

    def _best_of(
        self, count: int, margins: Mapping[str, float], shorter: list[Trial], *, near: bool
    ) -> tuple[Trial, Problem]:
        """Return the best settings of `count` stages under margins; see `best`. shorter: with one stage less."""
        problem = Problem(self.scenario, count, tables=self.tables(margins), margins=margins, clock=self.clock)
        known = [one for one in self.found if one.lead.shape[1] == count]
        problem.grip_correction = self._corrections.get(count, problem.grip_correction)
        if known:
            # Tables differ with the limits, so variables do not carry over.
            looked = problem.look_at(np.vstack([one.lead for one in known]))
            x = looked.x
            for one in shorter:
                looked = looked.join(extended(problem, one))
            starts = [best(fastest, looked), promising(looked)]
            trial = reduce(_faster, refine_all(problem, starts, fastest, CANDIDATE_EFFORT))
            reached = trial.violation[0] <= 0 and trial.exit_speed[0] >= self.least
            # What stays far from the limits here does so from other starts.
            if not reached and not near and trial.violation[0] <= RESTORED:
                starts = [replace(one, x=row[None]) for one, row in zip(known[:1], x, strict=False)]
                trial = _faster(trial, explore(problem, shorter, starts, effort=CANDIDATE_EFFORT))
        else:
            trial = explore(problem, shorter or self.found[:1], effort=CANDIDATE_EFFORT)
        trial = self._gripping(problem, trial)
        self.found += [] if trial.jammed[0] else [trial]
        return trial, problem

    def _gripping(self, problem: Problem, trial: Trial) -> Trial:
        """Return settings refined with the grip limits at their own entry speeds, where these come from tables."""
        if not problem.limit_values.grip_margin or trial.violation[0] > 0.0:
            return trial
        if problem.margins.get("grip_margin", 0.0) <= FREE:
            return trial
        settings = settings_at(problem.scenario, trial.lead[0], launcher_of(problem, trial))
        found, lead = correct_grip(problem, trial, settings), settings.lead
        if (np.abs(found.at(lead) / problem.grip_correction.at(lead) - 1.0) < SHARP).all():
            return trial
        problem.grip_correction = self._corrections[problem.count] = found
        return refine(problem, problem.look(trial.x), fastest, CANDIDATE_EFFORT)

    def enough(self, margins: Mapping[str, float]) -> bool:
        """Whether the asked speed is reached.

        Not searched for where limits on exit speed and energy forbid it, or where those on what is built allow fewer
        stages than it takes without any limit.
        """
        launcher = self.scenario.launcher
        cap = float(exit_cap(launcher, self.scenario.limit_values, margins))
        most = most_stages(launcher, self.scenario, margins, self.count + MANY)
        return cap >= self.least and most >= self.fewest > 0 and self.best(margins)[0] >= self.least

    def reachable(self) -> bool:
        """Whether the asked speed is reached without any limit."""
        return self._reaches(list(self.bounds))

    def conflict(self) -> tuple[str, ...]:
        """Return the limits in conflict with the asked speed; empty where it is out of reach without any limit.

        Minimal sets of conflicting limits are added until the speed is reached without all of them.
        """
        held, tight = list(self.bounds), self.tight
        if not self.reachable():
            return ()
        found: list[str] = []
        while not self._reaches(found):
            spared = list(found)
            for names in ([name for name in held if name not in tight], [name for name in held if name in tight]):
                self._spare([name for name in names if name not in found], spared)
            needed = [name for name in held if name not in spared]
            if not needed:
                break
            found += needed
        return tuple(name for name in held if name in found)

    def _spare(self, names: list[str], spared: list[str]) -> None:
        """Add to `spared` those of `names` without which the speed stays out of reach: they are not in the conflict."""
        if not names:
            return
        if not self._reaches([*spared, *names]):
            spared += names
        elif len(names) > 1:
            half = len(names) // 2
            self._spare(names[:half], spared)
            self._spare(names[half:], spared)

    def _reaches(self, names: Sequence[str]) -> bool:
        """Return whether the asked speed is reached without the named limits."""
        dropped = frozenset(names)
        if any(known <= dropped for known in self._sufficient):
            return True
        if any(dropped <= known for known in self._insufficient):
            return False
        margins = without(self.margins, sorted(dropped))
        if not self.enough(margins):
            self._insufficient.append(dropped)
            return False
        _, trial, problem = self.best(margins)
        self._sufficient.append(dropped if trial is None or problem is None else dropped & self._broken(trial, problem))
        return True

    def _broken(self, trial: Trial, problem: Problem) -> frozenset[str]:
        """Return the names of the limits that a design breaks, their reserves included."""
        launcher = launcher_of(problem, trial)
        settings = settings_at(self.scenario, trial.lead[0], launcher)
        built = broken_by(launcher, self.scenario.limit_values, problem.count, self.margins)
        out = frozenset(built)
        for one in settings.verdicts:
            least = self.margins.get(one.name, 0.0) + CLEAR
            if float(one.slack) < least:
                out |= set_by(one.name, settings.design, float(one.value) / (1.0 - least))
        return out

    def relaxations(self, names: Sequence[str]) -> tuple[Relaxation, ...]:
        """Return for each named limit the value needed if it alone is loosened, and if all are by one factor."""
        out: list[Relaxation] = []

        def add() -> None:
            together = self._together(names)
            for name in names:
                alone = together if len(names) == 1 else self._together([name])
                out.append(
                    Relaxation(
                        name=name, unit=UNITS[name], allowed=self.bounds[name],
                        needed=alone.get(name) if alone else None, together=together.get(name) if together else None,
                    )
                )  # fmt: skip

        self.clock.attempt(REMEDIES, add)
        return tuple(out)

    def _together(self, names: Sequence[str]) -> dict[str, float] | None:
        """Return the values of the named limits that reach the speed with the least common factor; None: none do."""
        built, others = [name for name in names if name in BUILT], [name for name in names if name not in BUILT]
        best: tuple[float, Mapping[str, float]] | None = None
        # Which number of stages takes the least factor is found roughly first.
        sharp = ROUGH if built else SHARP
        for more in range(MANY + 1 if built else 1):
            margins, share = dict(self.margins), 1.0
            if more:
                margins, share = self._longer(built, self.count + more)
                if most_stages(self.scenario.launcher, self.scenario, margins, self.count + MANY) < self.count + more:
                    break
            if best is not None and share >= best[0]:
                break
            factor = self._share(margins, others, sharp)
            if factor is not None and (best is None or max(factor, share) < best[0]):
                best = max(factor, share), margins
        if best is None:
            return None
        loose, factor = best[1], self._share(best[1], others, SHARP) or 1.0
        for name in others:
            loose = looser(loose, name, factor)
        return self._values(loose, names)

    def _values(self, margins: Mapping[str, float], names: Sequence[str]) -> dict[str, float] | None:
        """Return the values of the named limits under margins, for geometry those of the best design; none tighter.

        None where one of them is no limit any more.
        """
        _, trial, problem = self.best(margins)
        out = {}
        count = self.count if problem is None else problem.count
        geometry = {one.name: one for one in self._geometry(count)}
        for name in names:
            bound, margin = self.bounds[name], margins.get(name, 0.0)
            if name in geometry:
                out[name] = _outward(name, max(float(np.max(geometry[name].value)), bound))
            else:
                # The reserve that other builds need is kept within the looser limit as well.
                sign, reserve = 1.0 if name in FLOORS else -1.0, self.margins.get(name, 0.0)
                share = (1.0 + sign * margin) / (1.0 + sign * reserve)
                out[name] = _outward(name, ORIGINS[name] + share * (bound - ORIGINS[name]))
        if self.remedied is None and trial is not None and problem is not None:
            self.remedied = out, trial, problem
        return out if all(value < ENDS[name] for name, value in out.items()) else None

    def reserve(self, drawn: Draws) -> Mapping[str, float]:
        """Return the reserve of hard limits at the design that all told values together allow, by drawn builds."""
        if self.remedied is None or self.scenario.launcher.template != self.nearest.design.launcher.template:
            return NO_MARGINS
        values, trial, problem = self.remedied
        own = {name: values[name] for name in values if name in VALUES and name not in BUILT}
        loose = replace(self.scenario, limit_values=self.scenario.limit_values.with_values(own))
        settings = settings_at(loose, trial.lead[0], launcher_of(problem, trial))
        return margin_of(loose, drawn, settings, self.margins).reserve

    def _share(self, margins: Mapping[str, float], names: Sequence[str], sharp: float) -> float | None:
        """Return the least factor on the named limits that reaches the speed, to a share `sharp`; None: none does."""
        if not names:
            return 1.0 if self.enough(margins) else None
        if not self.enough(free := without(margins, list(names))):
            return None

        def reached(factor: float) -> float:
            loose: Mapping[str, float] = margins
            for name in names:
                loose = looser(loose, name, factor)
            # Fewer stages than it takes without these limits do not reach it with them.
            return self.best(loose, near=1 if problem is None else problem.count)[0]

        _, trial, problem = self.best(free)
        most = FIRST if trial is None or problem is None else self._factor(trial, problem, margins, names)
        return _least(reached, self.asked, self.nearest.exit_speed, most, sharp)

    def _factor(self, trial: Trial, problem: Problem, margins: Mapping[str, float], names: Sequence[str]) -> float:
        """Return the factor on the named limits within which a design keeps them."""
        factors, point = [FIRST], _unthrown(self.scenario, 1)
        for one in settings_at(self.scenario, trial.lead[0], launcher_of(problem, trial)).verdicts:
            if set_by(one.name, point) & set(names):
                slack, margin = float(np.min(one.slack)), margins.get(one.name, 0.0)
                if one.name in FLOORS:
                    factors.append((1.0 + margin) / (1.0 + slack) if slack > -1.0 else WIDEST)
                else:
                    factors.append((1.0 - slack) / (1.0 - margin))
        return max(factors) * (1.0 + SHARP)

    def _geometry(self, count: int) -> list[LimitResult]:
        """Return the results of the limits on what is built, for `count` stages."""
        point = _unthrown(self.scenario, count)
        return [one for limit in GEOMETRY if (one := evaluate(limit, point)) is not None]

    def _longer(self, built: Sequence[str], count: int) -> tuple[dict[str, float], float]:
        """Return margins that let the named limits on what is built hold `count` stages, and the greatest factor."""
        results = [one for one in self._geometry(count) if one.name in built]
        shares = {one.name: max(1.0 - float(np.min(one.slack)), 1.0) for one in results}
        margins: dict[str, float] = dict(self.margins)
        for name, share in shares.items():
            margins = looser(margins, name, share * (1 + 1e-9))
        return margins, max(shares.values(), default=1.0)


def _hopeless(steps: Sequence[tuple[int, float]], count: int, asked: float) -> bool:
    """Whether `count` stages are too few by far, by the gain between the last two stage counts and exit speeds [m/s].

    Each stage adds less than the one before, to a factor GENEROUS.
    """
    if len(steps) < 2:
        return False
    (before, slow), (last, fast) = steps[-2:]
    gain = max(np.log(fast / slow), 0.0) / (last - before)
    return bool(GENEROUS * gain * (count - last) < np.log(asked / max(fast, slow)))


def _faster(one: Trial, other: Trial) -> Trial:
    if other.violation[0] > 0:
        return one
    return other if one.violation[0] > 0 or other.exit_speed[0] > one.exit_speed[0] else one


def _least(
    reached: Callable[[float], float], asked: float, nearest: float, most: float, sharp: float
) -> float | None:  # fmt: skip
    """Return the least factor at which `reached(factor)` [m/s], which rises, is `asked`; None: `most` is too small.

    nearest: exit speed at a factor of 1 [m/s]; most: a factor that should be enough; sharp: relative interval at which
    the search ends [-].
    """
    value = reached(most)
    goal = min(asked * (1 - SHORTFALL), value)
    if value < asked * (1 - REACHED):
        return None
    low, high, at_low, factor = 1.0, most, nearest, min(FIRST, most)
    for turn in range(TRIES):
        value, slope = reached(factor), 0.0
        if value >= goal:
            high = factor
        else:
            slope = float(np.log(value / at_low) / np.log(factor / low)) if value > at_low else 0.0
            low, at_low = factor, max(value, at_low)
        if high / low < 1 + sharp:
            break
        # Exit speed rises ever less steeply, so the first factor beyond the tangent's is soon enough.
        ahead = low * np.exp(min(1.05 * np.log(goal / at_low) / slope, WIDE)) * (1 + sharp) if slope > 0 else np.inf
        factor = ahead if ahead < high else low * (high / low) ** (NEARER if turn % 2 else 0.5)
    return float(high)


def _outward(name: str, value: float) -> float:
    """Return a limit value rounded to DIGITS digits on the looser side."""
    if value <= 0 or float(value).is_integer():
        return value
    upward = name not in FLOORS
    found = rounded(value, DIGITS, upward=upward)
    if (found >= value) if upward else (found <= value):
        return found
    # As near to a rounded value as rounding errors are, and on its looser side.
    return rounded(value * (1 + NOISE if upward else 1 - NOISE), DIGITS, upward=upward)


def _reason(asked: float, nearest: float, most: float, sure: bool, *, alone: bool) -> str:
    """Return why the asked speed is not reached, in a sentence.

    most: exit speed that the limits allow, surely or not; alone: those on exit speed and energy, whatever wheels do.
    """
    close = f"the nearest design throws at {nearest:.4g} m/s"
    beyond = most < asked * (1.0 - REACHED)
    if beyond and not sure:
        return f"No design found that reaches {asked:.4g} m/s, and almost proven that none exists; {close}."
    if beyond:
        which = "the limits on exit energy and speed alone" if alone else "the limits"
        return f"No design reaches {asked:.4g} m/s: {which} allow {most:.4g} m/s at most; {close}."
    return f"No design found that reaches {asked:.4g} m/s, which does not prove that none exists; {close}."


def _broken(settings: Settings) -> list[LimitResult]:
    return [result for result in settings.verdicts if not result.satisfied]


def _broken_as_fed(fed: Settings, names: tuple[str, ...], relaxations: tuple[Relaxation, ...]) -> Missed:
    """Return the result where the projectile breaks limits as it is fed; names, relaxations: what a stage needs.

    Where no stage is found even without the limits, they are what the projectile needs as it is fed.
    """
    broken = _broken(fed)
    words = ", ".join(one.name.replace("_", " ") for one in broken)
    if not names:
        names = tuple(one.name for one in broken)
        values = [_outward(one.name, float(one.value)) for one in broken]
        relaxations = tuple(
            Relaxation(name=one.name, unit=one.unit, allowed=float(one.bound), needed=None if len(broken) > 1 else
                       value, together=value)
            for one, value in zip(broken, values, strict=True)
        )  # fmt: skip
    reason = f"No design keeps the limits: the projectile breaks them as it is fed ({words})."
    return Missed(reason=reason, proven=True, nearest=None, conflict=names, relaxations=relaxations)


def _spin_missed(scenario: Scenario, rows: Sequence[BestDesign], spin: float) -> Missed:
    """Return the result where no setting within the limits has the spin that is asked for."""
    turned = [row.settings for row in rows if row.settings.turns and row.count]
    asked = f"{spin / TURN:.4g} rev/s"
    if turned:
        nearest = min(turned, key=lambda found: sum(-float(one.slack) for one in _broken(found)))
        names = tuple(result.name for result in _broken(nearest))
        reason = f"No design found that spins at {asked} within the limits, which does not prove that none exists."
        return Missed(reason=reason, proven=False, nearest=nearest, conflict=names)
    top = float(np.max(speed_range(scenario.launcher, scenario.limit_values, 0).top))
    most = np.copysign(most_spin(scenario.launcher, top), spin) / TURN
    reason = (
        f"No design found that spins at {asked}: the first stage makes the spin and gives {most:.3g} rev/s at most"
        + (", with no margin to its grip limit." if scenario.limit_values.grip_margin else ".")
    )
    return Missed(reason=reason, proven=False, nearest=None)

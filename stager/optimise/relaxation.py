"""What looser limits would gain, and why no design fits: which limits conflict with the goal, and by how much.

A limit that is looser by a share is the same limit with a negative least slack, so all limits are treated alike. The
sensitivity to a limit is the gain of exit speed where it is slightly looser; one more stage is treated likewise.

Limits in conflict are found by a deletion filter (Chinneck, Feasibility and Infeasibility in Optimization, 2008):
limits are dropped as long as the goal stays out of reach without them, many at once and by halves where those are too
many (Junker, QUICKXPLAIN; abstract read). Fewer limits allow no less, so what is known of some sets tells of others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

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
from stager.constraints.limit import rounded
from stager.model.launcher import Scenario
from stager.model.requirements import Aim
from stager.optimise.judge import active as active_of
from stager.optimise.judge import least_speed, settings_at
from stager.optimise.parts import FEW, BestDesign
from stager.optimise.problem import FastestTables, Problem, Trial
from stager.optimise.records import Missed, Relaxation, Settings
from stager.optimise.search import (
    CLOSE,
    QUICKLY,
    ROUGHLY,
    Clock,
    best,
    explore,
    fastest,
    launcher_of,
    most_stages,
    refine,
)
from stager.optimise.spin import most_spin
from stager.physics.flight import outlet_speed

MORE = 0.01
"""Share by which limits are loosened for their prices [-]."""
WORTHLESS = 1e-5
"""Gain below which a limit does not hold a plan back [-]."""
FLOORS = {limit.name for limit in LIMITS if limit.floor}
ORIGINS = {limit.name: limit.origin for limit in LIMITS}
BUILT = {limit.name for limit in LIMITS if limit.kind is Kind.DESIGN}
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


def prices(
    row: BestDesign, active: frozenset[str], margins: Mapping[str, float], more: float, clock: Clock, problem: Problem
) -> dict[str, float]:
    """Return the relative gain of exit speed for each active limit if it is 1 % looser, by solving again.

    active : names of active limits; more : gain of one more stage [-]; problem : that of the design, with its design
    variables to be chosen. Empty where an exit speed is asked for, or no stage is used.
    """
    if row.solution is None or row.scenario.goal.asked is not None:
        return {}
    start = row.start(problem)
    base = again(problem, start, margins)
    found = {}
    for name in sorted(active):
        if clock.out("prices"):
            break
        wider = looser(margins, name, 1.0 + MORE)
        if name in BUILT and _counts_stages(row, name):
            continue
        found[name] = 0.0
        if name in BUILT and not broken_by(row.scenario.launcher, row.scenario.limit_values, row.count + 1, wider):
            found[name] = more
        if name not in BUILT or problem.choices:
            gained = again(problem, base, wider).exit_speed[0] / base.exit_speed[0] - 1
            found[name] = max(float(gained), found[name])
    return found


def _counts_stages(row: BestDesign, name: str) -> bool:
    """Whether a limit counts stages, so that it cannot be 1 % looser."""
    limit = next(limit for limit in LIMITS if limit.name == name)
    return limit.unit == "-"


def again(problem: Problem, start: Trial, margins: Mapping[str, float]) -> Trial:
    """Return the best settings near known ones under other margins."""
    return refine(other := under(problem, margins), other.look(start.x), fastest, CLOSE)


def under(problem: Problem, margins: Mapping[str, float]) -> Problem:
    """Return a problem with other margins."""
    other = Problem(
        problem.scenario, problem.count, launcher=problem.launcher, tables=problem.tables, margins=margins,
        choose=problem.choose,
    )  # fmt: skip
    other.grip_correction, other.grip_found = problem.grip_correction, problem.grip_found
    return other


def one_more(row: BestDesign, rows: list[BestDesign], margins: Mapping[str, float]) -> float:
    """Return the relative gain of one more stage, behind at least one, without limits on what is built."""
    assert row.solution is not None
    if row.count + 1 < len(rows):
        speed = rows[row.count + 1].settings.exit_speed
    else:
        problem = Problem(row.scenario, row.count + 1, tables=row.solution.problem.tables, margins=margins)
        found = explore(problem, [row.solution.trial], generations=FEW, effort=QUICKLY)
        speed = float(found.exit_speed[0]) if found.violation[0] <= 0.0 else 0.0
    return max(speed / row.settings.exit_speed - 1, 0.0)


TURN = 2 * np.pi
"""Angle of a turn [rad]."""
MANY = 6
"""Greatest number of further stages that are considered."""
ENOUGH = 5e-4
"""Relative shortfall below which the asked speed counts as reached [-]."""
FIRST = 1.02
"""First factor by which limits are loosened [-]."""
WIDEST = 64.0
"""Greatest factor [-]."""
TRIES = 16
"""Greatest number of factors tried."""
SHARP = 1e-3
"""Relative interval at which the search for a factor ends [-]."""
HOPELESS = 2.0
"""Factor above which the search gives up if exit speed no longer rises [-]."""
FLAT = 1e-6
"""Logarithmic slope of exit speed that counts as no rise [-]."""
GENEROUS = 3.0
"""Factor on the gain of a stage, up to which the next may add more [-]."""
CLEAR = 1e-4
"""Slack that a design must have beyond the reserve to keep a limit beyond doubt [-]."""
DIGITS = 4
"""Digits of a needed limit value."""
OUT_OF_REACH = " Without these limits and with six more stages it is not reached either."


def explain(
    rows: Sequence[BestDesign], margins: Mapping[str, float], bound: float | None, clock: Clock, *, proven: bool = True
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
    """
    scenario = rows[0].scenario
    fits = [row for row in rows if row.feasible]
    asked, wheel = scenario.goal.asked, least_speed(scenario, 0.0)
    fed = rows[0].settings
    if not fits and scenario.goal.spin and not _broken(fed):
        return _spin_missed(scenario, rows, scenario.goal.spin)
    if not fits or asked is None or wheel is None:
        return _broken_as_fed(fed)
    if fed.exit_speed > wheel:
        reason = (
            f"No setting was found that throws as slowly as {asked:.4g} m/s: the feed alone gives "
            f"{float(fed.design.outlet_speed):.4g} m/s, and the projectile jams at wheels that slow."
        )
        return Missed(reason=reason, proven=False, nearest=fed)
    nearest = max(fits, key=lambda row: row.settings.exit_speed)
    cap = float(exit_cap(scenario.launcher, scenario.limit_values, margins))
    most = cap if bound is None or (not proven and cap < wheel) else min(cap, bound)
    reach = _Reach(nearest, margins, clock)
    names = reach.conflict()
    sure = proven or cap < wheel
    near, far = (float(outlet_speed(scenario.launcher, each)) for each in (nearest.settings.exit_speed, most))
    reason = _reason(asked, near, far, sure) + ("" if names else OUT_OF_REACH)
    return Missed(
        reason=reason, proven=sure and most < wheel, nearest=nearest.settings, conflict=names,
        relaxations=reach.relaxations(names) if names else (),
    )  # fmt: skip


class _Reach:
    """Searches for exit speeds under looser limits, up to the speed that is asked for."""

    def __init__(self, nearest: BestDesign, margins: Mapping[str, float], clock: Clock) -> None:
        self.scenario = replace(nearest.scenario, goal=replace(nearest.scenario.goal, aim=Aim.REACH))
        self.nearest, self.margins, self.clock = nearest, margins, clock
        self.least = least_speed(self.scenario, ENOUGH) or 0.0
        """Exit speed behind the last wheel that is enough [m/s]."""
        self.count = nearest.count
        self.tables = FastestTables(self.scenario) if nearest.solution is None else nearest.solution.problem.tables
        self._known: dict[tuple[tuple[str, float], ...], tuple[float, Trial | None, Problem | None]] = {}
        self.found = [] if nearest.solution is None else [nearest.solution.trial]
        self._sufficient: list[frozenset[str]] = []
        self._insufficient: list[frozenset[str]] = []

    def best(self, margins: Mapping[str, float], *, near: bool = False) -> tuple[float, Trial | None, Problem | None]:
        """Return exit speed [m/s] and settings of the best design under margins.

        near: search only from designs found before, where there are any with as many stages.
        """
        key = tuple(sorted(margins.items()))
        if key not in self._known:
            self._known[key] = self._best(margins, near)
        return self._known[key]

    def _best(self, margins: Mapping[str, float], near: bool) -> tuple[float, Trial | None, Problem | None]:
        # The goal keeps settings from exceeding the asked speed.
        most = most_stages(self.scenario.launcher, self.scenario, margins, self.count + MANY)
        out: tuple[float, Trial | None, Problem | None] = (float(self.scenario.launcher.feed.speed), None, None)
        counts = sorted({min(max(self.count, 1), most), min(self.count + 1, most), most} - {0})
        steps: list[tuple[int, float]] = []
        for count in counts:
            if _hopeless(steps, count, self.least):
                break
            problem = Problem(self.scenario, count, tables=self.tables, margins=margins)
            known = [one for one in self.found if one.lead.shape[1] == count]
            if known:
                x = np.vstack([np.clip(one.x, problem.low, problem.high) for one in known])
                trial = refine(problem, best(fastest, problem.look(x)), fastest, ROUGHLY)
                reached = trial.violation[0] <= 0 and trial.exit_speed[0] >= self.least
                if not reached and not near:
                    starts = [replace(one, x=row[None]) for one, row in zip(known[:1], x, strict=False)]
                    trial = _faster(trial, explore(problem, starts=starts, generations=FEW, effort=ROUGHLY))
            else:
                shorter = [one for one in self.found[:1] if one.lead.shape[1] == count - 1]
                trial = explore(problem, shorter, generations=FEW, effort=ROUGHLY)
            self.found += [] if trial.jammed[0] else [trial]
            if trial.violation[0] <= 0:
                steps.append((count, float(trial.exit_speed[0])))
                if steps[-1][1] > out[0]:
                    out = steps[-1][1], trial, problem
            if out[0] >= self.least:
                break
        return out

    def enough(self, margins: Mapping[str, float]) -> bool:
        """Whether the asked speed is reached."""
        return self.best(margins)[0] >= self.least

    def conflict(self) -> tuple[str, ...]:
        """Return the limits in conflict with the asked speed; empty where it is out of reach without any limit.

        Minimal sets of conflicting limits are added until the speed is reached without all of them.
        """
        held = [result.name for result in self.nearest.settings.verdicts]
        tight = active_of(self.scenario, self.nearest.settings, [])
        if not self._reaches(held):
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
            if self.clock.out("which limits are in conflict"):
                break
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
        short = (one.name for one in settings.verdicts if float(one.slack) - self.margins.get(one.name, 0.0) < CLEAR)
        return frozenset([*built, *short])

    def relaxations(self, names: Sequence[str]) -> tuple[Relaxation, ...]:
        """Return for each named limit the value needed if it alone is loosened, and if all are by one factor."""
        together = self._together(names)
        out = []
        for result in self.nearest.settings.verdicts:
            if result.name in names and not self.clock.out("what would make it fit"):
                alone = together if len(names) == 1 else self._together([result.name])
                out.append(
                    Relaxation(
                        name=result.name, unit=result.unit, allowed=float(np.max(result.bound)),
                        needed=alone.get(result.name) if alone else None,
                        together=together.get(result.name) if together else None,
                    )
                )  # fmt: skip
        return tuple(out)

    def _together(self, names: Sequence[str]) -> dict[str, float] | None:
        """Return the values of the named limits that reach the speed with the least common factor; None: none do."""
        built, others = [name for name in names if name in BUILT], [name for name in names if name not in BUILT]
        best: tuple[float, Mapping[str, float]] | None = None
        for more in range(MANY + 1 if built else 1):
            margins, share = dict(self.margins), 1.0
            if more:
                margins, share = self._longer(built, self.count + more)
                if most_stages(self.scenario.launcher, self.scenario, margins, self.count + MANY) < self.count + more:
                    break
            if best is not None and share >= best[0]:
                break
            factor = self._share(margins, others)
            if factor is not None and (best is None or max(factor, share) < best[0]):
                loose: Mapping[str, float] = margins
                for name in others:
                    loose = looser(loose, name, factor)
                best = max(factor, share), loose
        return None if best is None else self._values(best[1], names)

    def _values(self, margins: Mapping[str, float], names: Sequence[str]) -> dict[str, float]:
        """Return the values of the named limits under margins, for geometry those of the best design; none tighter."""
        _, _, problem = self.best(margins)
        bounds = {one.name: float(np.max(one.bound)) for one in self.nearest.settings.verdicts}
        out = {}
        count = self.count if problem is None else problem.count
        geometry = {one.name: one for one in self._geometry(count)}
        for name in names:
            bound, margin = bounds[name], margins.get(name, 0.0)
            if name in geometry:
                out[name] = _outward(name, max(float(np.max(geometry[name].value)), bound))
            else:
                change = margin * (bound - ORIGINS[name])
                loose = bound + change if name in FLOORS else bound - change
                out[name] = _outward(name, loose)
        return out

    def _share(self, margins: Mapping[str, float], names: Sequence[str]) -> float | None:
        """Return the least factor on the named limits that reaches the speed; None: none does."""
        if not names:
            return 1.0 if self.enough(margins) else None

        def reached(factor: float) -> float:
            loose: Mapping[str, float] = margins
            for name in names:
                loose = looser(loose, name, factor)
            return self.best(loose, near=True)[0]

        return _least(reached, self.least)

    def _geometry(self, count: int) -> list[LimitResult]:
        """Return the results of the limits on what is built, for `count` stages."""
        launcher, limit_values = self.scenario.launcher, self.scenario.limit_values
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=no_throw(np.zeros(count)))
        return [one for limit in GEOMETRY if (one := evaluate(limit, point)) is not None]

    def _longer(self, built: Sequence[str], count: int) -> tuple[dict[str, float], float]:
        """Return margins that let the named limits on what is built hold `count` stages, and the greatest factor."""
        results = [one for one in self._geometry(count) if one.name in built]
        shares = {one.name: max(float(np.max(one.value)) / float(np.max(one.bound)), 1.0) for one in results}
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


def _least(reached: Callable[[float], float], goal: float) -> float | None:
    """Return the least factor at which `reached(factor)` [m/s], which rises, is `goal`; None: none up to WIDEST."""
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


def _outward(name: str, value: float) -> float:
    """Return a limit value rounded to DIGITS digits on the looser side."""
    if value <= 0 or float(value).is_integer():
        return value
    return rounded(value, DIGITS, upward=name not in FLOORS)


def _reason(asked: float, nearest: float, most: float, sure: bool) -> str:
    close = f"the nearest design throws at {nearest:.4g} m/s"
    if most < asked and not sure:
        return f"No design found that reaches {asked:.4g} m/s, and almost proven that none exists; {close}."
    if most < asked:
        return f"No design reaches {asked:.4g} m/s: the limits allow {most:.4g} m/s at most; {close}."
    return f"No design found that reaches {asked:.4g} m/s, which does not prove that none exists; {close}."


def _broken(settings: Settings) -> list[LimitResult]:
    return [result for result in settings.verdicts if not result.satisfied]


def _broken_as_fed(fed: Settings) -> Missed:
    """Return the result where the projectile breaks limits as it is fed."""
    broken = _broken(fed)
    names = tuple(result.name for result in broken)
    words = ", ".join(name.replace("_", " ") for name in names)
    needed = tuple(
        Relaxation(name=one.name, unit=one.unit, allowed=float(one.bound), needed=None if len(broken) > 1 else
                   float(one.value), together=float(one.value))
        for one in broken
    )  # fmt: skip
    reason = f"No design keeps the limits: the projectile breaks them as it is fed ({words})."
    return Missed(reason=reason, proven=True, nearest=None, conflict=names, relaxations=needed)


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

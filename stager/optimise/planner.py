"""Make a plan: best parts, stage count and wheel speeds, ladder, verdict, bound."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np

from stager.bounds import BUDGETS, Bound, bound, shared
from stager.constraints import broken_by
from stager.constraints.recommend import NOMINAL_ONLY
from stager.errors import InputError
from stager.model.launcher import Scenario
from stager.model.requirements import Aim, Goal
from stager.optimise.clock import Clock
from stager.optimise.draws import Draws
from stager.optimise.judge import TIE, active, settings_at
from stager.optimise.ladder import TunedDraws, TuningStep, advise, margin_sentence, rungs, stops, tune
from stager.optimise.pareto import Against, front, refuse, trades
from stager.optimise.parts import OTHER_PARTS, BestDesign, catalogue_of, choose, choose_again, opened, select
from stager.optimise.problem import NO_MARGINS
from stager.optimise.records import Margin, Missed, Plan, Settings
from stager.optimise.relaxation import BUILT, WORTHLESS, explain, one_more, prices, set_by, under
from stager.optimise.robust import (
    enough,
    margin_draws,
    margin_of,
    reaches,
    robust,
    spread_of,
    steadied,
    steadiest,
)
from stager.optimise.search import improve, most_stages, solve
from stager.optimise.settable import as_shown
from stager.parallel import Executor
from stager.physics.barrel import overlapping

DRAWS = 400
"""Launchers drawn for the ladder, where no number is given."""
ROUNDS = 4
"""Rounds of finding reserves for settings and settings for reserves."""
SETTLED = 4e-3
"""Change of a reserve at which these rounds end [-]."""
STEP = 0.1
"""Greatest change of a reserve at once [-]: settings that break limits by much more are not led back."""
SLOWEST = 0.5
"""Least share of their speeds to which wheels are slowed to keep hard limits in enough builds [-]."""
LEAST_LOSS = 5e-4
"""First share by which they are slowed [-]."""
LOSSES = 11
"""Shares tried up to 1 - SLOWEST, each about twice the one before."""
HALVINGS = 3
"""Halvings between the last two of them."""
COSTLY = 0.03
"""Mean loss of builds against the nominal exit speed from which on other settings are considered, and greatest loss of
settings that are taken because enough builds keep the limits there [-]."""
GAINED = 0.005
"""Gain of the mean exit speed of builds for which these are taken [-]."""
TOGETHER = "stages that hold the projectile together are not set to a spin yet"
FARTHER = "a clearance or pitch that lets it leave one stage before it enters the next, or leave spin out"


def silent(share: float) -> None:
    """Ignore progress."""


def plan(
    scenario: Scenario, *, draws: int = DRAWS, rng: np.random.Generator | None = None, certified: bool = True,
    progress: Callable[[float], None] = silent, executor: Executor | None = None,
    trade: Against | None = None, sturdy: bool = False, seconds: float | None = None,
) -> Plan:  # fmt: skip
    """Return the best parts, number of stages and wheel speeds, the ladder of stage counts, and the verdict.

    Parameters
    ----------
    scenario : Scenario
        Launcher, limits, goal and what is uncertain.
    draws : int
        Launchers drawn for the ladder's intervals and probabilities; 0: none, and hard limits are kept in the nominal
        build alone.
    rng : Generator, optional
        Draws them.
    certified : bool
        Also find an upper bound on exit speed.
    progress : callable
        Takes the share that is done [-].
    executor : Executor, optional
        Works on draws and bound; None: this process.
    trade : Against, optional
        Also find the Pareto front of exit speed against this.
    sturdy : bool
        Also find robust settings.
    seconds : float, optional
        Time after which the best so far is returned [s]; `Plan.left_open` says what was not done.

    Raises
    ------
    InputError
        Where the configuration lacks inputs for a front, or stages cannot be set for the spin.
    """
    refuse(scenario, trade)
    _refuse_spin(scenario)
    return _Planning(scenario, draws, rng, executor or Executor(), Clock.of(seconds), progress).run(
        certified=certified, trade=trade, sturdy=sturdy
    )


def _refuse_spin(scenario: Scenario) -> None:
    launcher, limit_values = scenario.launcher, scenario.limit_values
    if scenario.goal.spin and limit_values.stages > 1 and overlapping(launcher, limit_values.stages, np.full(1, 10.0)):
        raise InputError(TOGETHER, where="goal.spin", hint=FARTHER)


RESERVE = "the reserve of hard limits"
SLOWED = "the fastest wheels that keep hard limits in enough builds"
MEAN = "wheel speeds that throw fastest on average over possible builds"
"""Work that a stopped search leaves undone."""


class _Planning:
    def __init__(
        self, scenario: Scenario, draws: int, rng: np.random.Generator | None, executor: Executor, clock: Clock,
        progress: Callable[[float], None],
    ) -> None:  # fmt: skip
        self.scenario, self.draws, self.executor, self.clock, self.progress = scenario, draws, executor, clock, progress
        self.rng = np.random.default_rng(0) if rng is None else rng
        self.reserve: Mapping[str, float] = NO_MARGINS
        self.greatest: Mapping[str, float] = NO_MARGINS
        """Greatest reserve of each hard limit that a design has needed."""
        self.margin: Margin | None = None
        self.elsewhere = ""
        """Why the wheels of the plan are not set to what throws fastest in the nominal launcher."""
        self.slowed = False
        self.steady = scenario.goal.aim is Aim.STEADIEST
        self.offered: list[BestDesign] = []
        """Designs with other parts of a catalogue."""
        self.refined: BestDesign | None = None

    def run(self, *, certified: bool, trade: Against | None, sturdy: bool) -> Plan:
        """See `plan`."""
        selected = select(self.scenario, self.clock, lambda share: self.progress(0.35 * share))
        rows = selected.rows
        leader = choose(self.scenario, rows)
        proving = self._begin_bound(leader) if certified else None
        self.offered = [row for _, found in selected.options for row in found if row.feasible]
        before = None
        if self.steady and leader is not None:
            leader, before = steadiest(rows, self.offered, np.random.default_rng(1), self.clock)
        if leader is not None:
            rows = self._reserved(rows, leader) if self.draws else _put(rows, leader)
            leader = self._reaching(rows, leader) if self.steady else choose(self.scenario, rows)
            rows = _put(rows, leader)
        self.progress(0.5)
        tuned = self.clock.attempt("draws", partial(self._tuned, rows)) if self.draws else None
        self.progress(0.75)
        for turn in range(ROUNDS + 1):
            ladder = rungs(rows, tuned)
            stopped = f"{len(rows)} and more stages" in self.clock.open
            if self.scenario.goal.asked is not None and leader is not None:
                leader = self._reaching(rows, leader)
                rows = _put(rows, leader)
            chosen = None if leader is None else leader.count
            advice = advise(ladder, self.scenario, chosen, tuned, stops(rows), stopped=stopped)
            row = self._advised(rows, leader, advice.stages)
            again = self._refined(rows, row) if turn < ROUNDS else rows
            if again is rows:
                break
            rows = again
        # The ladder compares settings that are each tuned to the nominal launcher; the plan is built for all builds.
        advised = self._for_builds(row)
        missed = unkept = self._unkept(advised)
        if unkept is not None:
            advised, advice = None, advise(ladder, self.scenario, None, tuned, stops(rows), stopped=stopped)
        if advised is not None:
            advised = replace(advised, settings=as_shown(advised.scenario, advised.settings))
        proof = None if proving is None else proving()
        self.progress(0.9)
        best = None if advised is None else advised.settings
        held, beyond = frozenset[str](), 0.0
        bought: dict[str, float] = {}
        if advised is not None and row is not None:
            built = broken_by(advised.scenario.launcher, advised.scenario.limit_values, advised.count + 1)
            if advised.count + 1 < len(rows) and rows[advised.count + 1].feasible:
                built = []  # With other parts one more stage is within the limits.
            held = self._active(advised, built)
            if self.scenario.goal.asked is None and row.count:
                gain = self.clock.attempt("the gain of one more stage", partial(one_more, row, rows, self.reserve))
                beyond = 0.0 if gain is None else gain
            if row.solution is not None:
                problem = opened(self.scenario, row, self.reserve, self.clock)
                bought = prices(row, held, self.reserve, beyond, self.clock, problem)
        # Where the feed alone keeps the limits, the fastest is to throw with no stage.
        as_fed = self.scenario.goal.asked is None and leader is not None and not leader.count
        if unkept is None and (best is None or as_fed):
            speed = None if proof is None else proof.speed
            proven = (proof is None or not proof.evidence) and not self.clock.open
            drawn = margin_draws(self.scenario) if self.draws else None
            missed = explain(rows, self.reserve, speed, self.clock, proven=proven, drawn=drawn)
            if missed.nearest is not None:
                missed = replace(missed, nearest=as_shown(self.scenario, missed.nearest))
        verdict = advice.sentence
        if missed is not None and best is None and (unkept is not None or self.scenario.goal.asked is None):
            # Gains of designs that break limits say nothing.
            verdict = missed.reason
        worth = {
            name: beyond if name in BUILT else max(bought.get(one, 1.0) for one in set_by(name, best.design))
            for name in held
            if best is not None
        }
        catalogue = catalogue_of(self.scenario, selected, advised)
        if catalogue is not None and advised is not None:
            catalogue = replace(catalogue, traded=trades(self.scenario, advised, self.reserve, self.clock))
        return Plan(
            best=best, ladder=ladder, recommended_stages=advice.stages,
            verdict=verdict + margin_sentence(self.margin, built=bool(best and best.count)) + self.elsewhere
            + _unasked(self.scenario.goal),
            missed=missed,
            binding=frozenset(name for name, gain in worth.items() if gain > WORTHLESS), prices=bought,
            one_more_stage=beyond if held & BUILT else None, open_stage=advice.open_stage,
            settled_by=advice.settled_by, catalogue=catalogue, bound=proof,
            spread=spread_of(advised, np.random.default_rng(1)) if self.steady and advised is not None else None,
            spread_before=before,
            robust=self.clock.attempt("robust settings", partial(robust, advised, np.random.default_rng(2)))
            if sturdy and advised is not None else None,
            front=None if trade is None else front(self.scenario, rows, ladder, trade, self.reserve, self.clock),
            fastest=self._fastest(rows, best),
            margin=self.margin, left_open=tuple(self.clock.open),
            as_fed=self.scenario.goal.asked is not None and advised is not None and advised.count == 0,
        )  # fmt: skip

    def _active(self, row: BestDesign, built: list[str]) -> frozenset[str]:
        """Return the active limits of a design, reserves taken into account."""
        found = active(row.scenario, row.settings, built)
        near = {
            result.name
            for result in row.settings.verdicts
            if result.name in self.reserve and float(result.slack) <= self.reserve[result.name] + 1e-3
        }
        # A limit that follows from others is loosened through these.
        return (found | near).union(*(set_by(name, row.settings.design) for name in found | near))

    def _advised(self, rows: list[BestDesign], leader: BestDesign | None, stages: int) -> BestDesign | None:
        """Return the design of the recommended stage count, or the leader where that does not fit."""
        if leader is None or self.scenario.goal.asked is not None:
            return leader
        row = rows[stages] if stages < len(rows) else leader
        return row if row.feasible else leader

    def _reaching(self, rows: list[BestDesign], leader: BestDesign) -> BestDesign | None:
        """Return the design for the speed that is asked for, the one of the leader's stage count if that is steady."""
        if not self.steady:
            return choose(self.scenario, rows)
        row = rows[leader.count]
        if reaches(row):
            return row
        reserved = partial(self._again, reserve=self.reserve)
        offered: list[BestDesign] = self.clock.attempt(OTHER_PARTS, partial(list, map(reserved, self.offered))) or []
        return steadiest(rows, offered, np.random.default_rng(1), self.clock)[0]

    # Reserves of hard limits.

    def _reserved(self, rows: list[BestDesign], leader: BestDesign) -> list[BestDesign]:
        """Return designs with reserves of hard limits, found by draws at the leader's settings."""
        if margin_draws(leader.scenario) is None or leader.count == 0:
            return _put(rows, leader)

        def solve() -> list[BestDesign]:
            settled = self._settle_reserve(leader)
            self.greatest = self.reserve
            reserved = [row if not self.reserve else self._again(row, self.reserve) for row in rows]
            # Solved from the settings without a reserve, the design may end up elsewhere.
            return _put(reserved, settled) if self._better(settled, reserved[settled.count]) else reserved

        found = self.clock.attempt(RESERVE, solve)
        if found is None:
            # All designs without a reserve, as they are compared; the wheels of the plan are slowed.
            self.reserve, self.margin = NO_MARGINS, None
        return _put(rows, leader) if found is None else found

    def _better(self, settled: BestDesign, other: BestDesign) -> bool:
        """Return whether a design with its reserve settled is to be built rather than another with that reserve."""
        if self.scenario.goal.asked is not None:
            return reaches(settled)
        least = (1 - TIE) * other.settings.exit_speed if other.feasible else 0.0
        return settled.feasible and settled.settings.exit_speed > least

    def _settle_reserve(self, row: BestDesign) -> BestDesign:
        """Find a reserve and settings that agree, as each depends on the other, and return the settings.

        Where they do not agree, as settings go back and forth, the fastest at which enough builds keep the limits,
        unless these are much slower.
        """
        found: list[tuple[BestDesign, Margin, Mapping[str, float]]] = []
        for _ in range(ROUNDS):
            drawn = margin_draws(row.scenario)
            if drawn is None:
                return row
            self.clock.check()
            self.margin = margin_of(row.scenario, drawn, row.settings, self.reserve)
            needed = self.margin.reserve
            names = {*needed, *self.reserve}
            change = max((abs(needed.get(name, 0.0) - self.reserve.get(name, 0.0)) for name in names), default=0.0)
            if enough(self.margin):
                found.append((row, self.margin, self.reserve))
                if change < SETTLED:
                    return row
            used = {name for name in names if needed.get(name, 0.0) > 0.0}
            if not used and not self.reserve:
                return row
            before = row
            self.reserve = {name: needed.get(name, 0.0) for name in used}
            row = self._again(row, self.reserve, steady=self.steady)
            if self.scenario.goal.asked is not None and not reaches(row):
                return row  # At a lower speed a smaller reserve would do, but that is not what is asked for.
            if not row.feasible:
                return before
        if (drawn := margin_draws(row.scenario)) is not None:
            self.margin = margin_of(row.scenario, drawn, row.settings, self.reserve)
        near = [one for one in found if one[0].settings.exit_speed > (1 - COSTLY) * row.settings.exit_speed]
        if near and self.margin is not None and not enough(self.margin):
            row, self.margin, self.reserve = max(near, key=lambda one: one[0].settings.exit_speed)
        return row

    def _again(self, row: BestDesign, reserve: Mapping[str, float], *, steady: bool = False) -> BestDesign:
        """Return a design solved anew under a reserve, from its settings without; steady: the steadiest near these."""
        if row.solution is None:
            return row
        if steady:
            return steadied(row, under(row.solution.problem, reserve), np.random.default_rng(1))
        if any(parts.design for parts in row.parts):
            return choose_again(self.scenario, row, reserve, self.clock)
        known, before = row.solution.trial, row.solution.problem.margins
        apart = max((abs(more - before.get(name, 0.0)) for name, more in reserve.items()), default=0.0)
        for share in np.linspace(0.0, 1.0, max(int(np.ceil(apart / STEP)), 1) + 1)[1:]:
            between = {name: (1 - share) * before.get(name, 0.0) + share * more for name, more in reserve.items()}
            problem = under(row.solution.problem, between)
            solution = improve(problem, known)
            known = solution.trial if solution.feasible else known
        found = replace(row, solution=solution, settings=solution.settings)
        if (row.feasible and not found.feasible) or (reaches(row) and not reaches(found)):
            # Far from these settings others may keep the reserve: slow wheels that grip instead of fast ones that slip.
            solution = solve(problem, starts=[known])
            found = replace(row, solution=solution, settings=solution.settings)
        return found

    def _fastest(self, rows: list[BestDesign], best: Settings | None) -> Settings | None:
        """Return the best settings of all stage counts: those of the plan, or others that are clearly faster.

        Wheels are slowed where settings keep hard limits in too few builds, so others with as many stages do not count.
        """
        found = None if best is None or self.scenario.goal.asked is not None else choose(self.scenario, rows)
        if best is None or found is None or found.settings.exit_speed <= best.exit_speed * (1 + TIE):
            return best
        return best if self.slowed and found.count == best.count else found.settings

    def _refined(self, rows: list[BestDesign], row: BestDesign | None) -> list[BestDesign]:
        """Return the designs with `row`, the one to be built, made surer; the same list where nothing has changed.

        With draws its reserve is settled; the others, which may need more than it does, are solved anew under the
        greatest reserve that a design has needed. Without draws it is refined once more.
        """
        if row is None or row is self.refined:
            return rows
        before, margin = self.reserve, self.margin

        def refine() -> list[BestDesign]:
            better = self.refined = self._settled(row) if self.draws else self._polished(row)
            if self.reserve == before:
                return rows if better is row else _put(rows, better)
            needed = {name: max(self.greatest.get(name, 0.0), more) for name, more in self.reserve.items()}
            greatest = {**self.greatest, **needed}
            if greatest == self.greatest:
                return _put(rows, better)
            self.greatest = greatest
            others = [one if one.count == row.count or not one.feasible else self._again(one, greatest) for one in rows]
            return _put(others, better)

        found = self.clock.attempt(RESERVE if self.draws else "the last refinement", refine)
        if found is None:
            self.reserve, self.margin = before, margin
        return rows if found is None else found

    def _polished(self, row: BestDesign) -> BestDesign:
        """Return the design refined once more, for prices; unchanged for a goal other than the fastest."""
        if row.solution is None or self.scenario.goal.asked is not None:
            return row
        again = improve(row.solution.problem, row.solution.trial)
        faster = again.feasible and again.settings.exit_speed > row.settings.exit_speed
        return replace(row, solution=again, settings=again.settings) if faster else row

    def _settled(self, row: BestDesign) -> BestDesign:
        """Return the design under a reserve of hard limits that was found at its own settings."""
        if row.solution is None or margin_draws(row.scenario) is None:
            return row
        return self._settle_reserve(row)

    def _for_builds(self, row: BestDesign | None) -> BestDesign | None:
        """Return the design with wheels slowed where too few builds keep hard limits, or set for the greatest mean."""
        if row is None or not self.draws:
            return row
        drawn = None if row.solution is None else margin_draws(row.scenario)
        if drawn is not None:
            if self.margin is None or enough(self.margin):
                self.margin = margin_of(row.scenario, drawn, row.settings, self.reserve)
            if not enough(self.margin) and self.scenario.goal.asked is None:
                row = self._slowed(row, drawn)
        return self._recommended(row)

    def _unkept(self, row: BestDesign | None) -> Missed | None:
        """Return why a design for an asked speed is none: too few builds keep the hard limits; None where enough do."""
        asked, margin = self.scenario.goal.asked, self.margin
        if asked is None or row is None or not row.count or margin is None:
            return None
        if enough(margin, margin.confidence):
            return None
        kept = np.floor(1000 * margin.kept) / 10
        reason = (
            f"No design was found that reaches {asked:.4g} m/s and keeps the hard limits in "
            f"{100 * margin.confidence:.4g} % of builds; the nearest keeps them in {kept:.4g} %."
        )
        return Missed(reason=reason, proven=False, nearest=as_shown(row.scenario, row.settings))

    def _recommended(self, row: BestDesign) -> BestDesign:
        """Return the design at the wheel speeds that `next` recommends, if builds throw faster there on average.

        A single stage always has them, unless `limits.confidence` asks for the nominal launcher only. Several stages
        have them where the best settings of the nominal build are much slower in other builds, as beside a peak that
        other builds have elsewhere.
        """
        if row.scenario.limit_values.confidence <= NOMINAL_ONLY:
            return row
        own = row.settings.design.launcher == self.scenario.launcher
        if not row.count or not own or self.scenario.goal.spin or self.scenario.goal.aim is not Aim.FASTEST:
            return row
        mean = None if self.margin is None else self.margin.mean_exit
        if row.count > 1 and (mean is None or mean > (1 - COSTLY) * row.settings.exit_speed):
            return row
        from stager.fit.prediction import known_of, recommended_chain

        drawn = margin_draws(row.scenario)
        known = known_of(self.scenario)
        chain = self.clock.attempt(MEAN, lambda: recommended_chain(known, row.count, self.clock.check))
        chosen = [one.wheel_speed for one in chain or ()]
        lead = np.array([speed for speed in chosen if speed is not None])
        if lead.size < row.count:
            return row
        settings = settings_at(row.scenario, lead, row.settings.design.launcher)
        margin = None if drawn is None else margin_of(row.scenario, drawn, settings, self.reserve)
        if not settings.feasible or (margin is not None and margin.kept < margin.confidence):
            return row
        if row.count > 1 and margin is not None and margin.mean_exit <= (1 + GAINED) * (mean or 0.0):
            return row
        self.margin = margin
        if row.settings.exit_speed > (1 + GAINED) * settings.exit_speed:
            self.elsewhere = _elsewhere(row.settings)
        return replace(row, settings=settings)

    def _slowed(self, row: BestDesign, drawn: Draws) -> BestDesign:
        """Return the design with all wheels slowed alike until enough builds keep the hard limits, if possible.

        Slower wheels may break limits that faster ones keep, so the first share that is found keeps near to theirs.
        """
        low, high, best = SLOWEST, 1.0, None
        for loss in np.geomspace(LEAST_LOSS, 1.0 - SLOWEST, LOSSES):
            best = self._slower(row, drawn, 1.0 - loss)
            if best is not None:
                low = 1.0 - loss
                break
            high = 1.0 - loss
        for _ in range(HALVINGS if best is not None else 0):
            if self.clock.out(SLOWED):
                break
            middle = (low + high) / 2
            other = self._slower(row, drawn, middle)
            low, high, best = (low, middle, best) if other is None else (middle, high, other)
        if best is None:
            return row
        self.margin, self.slowed = best[1], True
        return replace(row, settings=best[0])

    def _slower(self, row: BestDesign, drawn: Draws, share: float) -> tuple[Settings, Margin] | None:
        """Return the settings with wheels at a share of their speeds if enough builds keep the hard limits there."""
        settings = settings_at(row.scenario, row.settings.lead * share, row.settings.design.launcher)
        margin = margin_of(row.scenario, drawn, settings, self.reserve) if settings.feasible else None
        return None if margin is None or not enough(margin) else (settings, margin)

    # Draws and bound.

    def _tuned(self, rows: list[BestDesign]) -> TunedDraws | None:
        """Return draws tuned with each stage count; beyond the last one that keeps the limits, stages are left out."""
        last = max((row.count for row in rows if row.feasible), default=0)
        steps = [
            TuningStep(scenario=row.scenario, parts=row.parts, lead=row.settings.lead) for row in rows[1 : last + 1]
        ]

        def tell(share: float) -> None:
            self.executor.progress(share)
            self.clock.check()

        found = tune(steps, self.draws, self.rng, self.reserve, replace(self.executor, progress=tell))()
        if found is None:
            return None
        beyond = np.repeat(found.exit_speed[-1:], len(rows) - 1 - last, axis=0)
        return replace(found, exit_speed=np.vstack([found.exit_speed, beyond]))

    def _begin_bound(self, leader: BestDesign | None) -> Callable[[], Bound] | None:
        """Begin the bound in the executor, and return a function that waits for it."""
        scenario = self.scenario if leader is None else leader.scenario
        reached = 0.0 if leader is None else leader.settings.exit_speed
        count = None if leader is None else leader.count
        if self.clock.until is not None:
            self.clock.open.append("the upper bound")
            return None
        most = most_stages(scenario.launcher, scenario)
        tight = set() if leader is None else active(scenario, leader.settings, [])
        return self.executor.submit(_bounded, scenario, most, reached, count, bool(tight & BUDGETS))


def _bounded(scenario: Scenario, most: int, reached: float, count: int | None, scarce: bool) -> Bound:
    """Return the bound, tightened by shared budgets where one is active or a speed is asked for."""
    found = bound(scenario, most, reached)
    if count is None or (found.asked is None and not scarce):
        return found if count is not None or found.asked is None else shared(scenario, found, None, None)
    return shared(scenario, found, reached, count)


def _unasked(goal: Goal) -> str:
    """Return a sentence on an exit speed that is set and not planned for; "" where there is none."""
    if goal.asked is not None or goal.exit_speed is None:
        return ""
    return f' This is not for the {goal.exit_speed:.4g} m/s of goal.exit_speed: for that, set goal.aim to "reach".'


def _elsewhere(nominal: Settings) -> str:
    """Return a sentence on a plan that throws fastest on average, and on what the nominal launcher could reach."""
    wheels = ", ".join(f"{speed:.2f}" for speed in nominal.wheel_speed)
    return (
        f" Wheels are set to what throws fastest on average over possible builds. The launcher as configured could "
        f"reach {float(nominal.design.outlet_speed):.2f} m/s with {'wheels' if nominal.count > 1 else 'the wheel'} at "
        f"{wheels} m/s, but other builds peak elsewhere; measuring and fitting narrows that down."
    )


def _put(rows: list[BestDesign], row: BestDesign | None) -> list[BestDesign]:
    """Return the designs with one of them replaced."""
    return rows if row is None else [row if each.count == row.count else each for each in rows]

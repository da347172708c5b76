"""Find the best settings of a given stage count.

Starts are wheel speeds log-spaced over the whole range from the feed speed up, the chain as a whole scaled down, and
the best chain of one stage less with a stage added. Differential evolution with feasibility rules improves them
(Mezura-Montes, Coello and Tun-Morales, 2004, after Deb: feasible before infeasible, less violation before more), and
the best are refined.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from stager.constraints import broken_by
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.optimise.judge import JUDGED, REACHED, SOUGHT, settings_at
from stager.optimise.problem import JAM, NO_LIMIT, NO_MARGINS, Problem, Trial, spanned
from stager.optimise.records import Settings
from stager.optimise.refine import CLOSE, ROUGHLY, Effort, Objective, best, coolest, fastest, refine, score

MEMBERS = 28
"""Size of the population, without two for each variable."""
GENERATIONS = 10
"""Generations of differential evolution."""
POLISHED = 2
"""Settings that are refined."""
SLOW = -0.06
"""Logarithm of a wheel's speed over its fastest setting below which it counts as slow [-]."""
APART = 0.03
"""Least distance between settings that are both refined [-]."""
ROUNDS = 4
"""Rounds in which grip limits are found at the settings' own entry speeds."""
LAST_RADIUS = 0.01
"""First trust region of the refinement of the best of them [-]."""
PULLED = 2e-5
"""First share by which wheels are slowed where rounding breaks a limit [-]."""
GAINED = 2e-4
"""Gain of exit speed in a round for which a further one is made [-]."""
FAR_OFF = 0.02
"""Error of a grip limit of the tables beyond which the search goes farther [-]."""
NEARBY = Effort(rounds=12, radius=0.03, smallest=2e-5, finish=True)
"""Effort where grip limits have changed little."""
RESTORED = 0.2
"""Greatest violation from which settings are led back to feasible ones [-]."""
PRICE = 0.5
"""Logarithm of exit speed by which a start must be faster for each unit of violation [-]."""
LEVEL = 2e-5
"""Share of exit speed that settings with less slip heat may cost [-]."""
COOLER = 0.01
"""Share of slip heat that they must save [-]."""


@dataclass(slots=True)
class Clock:
    """A time limit: `until` by the monotonic clock [s], None: none. open: work left undone."""

    until: float | None = None
    open: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, seconds: float | None) -> Clock:
        """Return a clock that runs out in `seconds`, None: never."""
        return cls(None if seconds is None else time.monotonic() + seconds)

    def out(self, what: str = "") -> bool:
        """Whether time is up; what: work that is then noted as left undone."""
        if self.until is None or time.monotonic() < self.until:
            return False
        if what and what not in self.open:
            self.open.append(what)
        return True


@dataclass(frozen=True, slots=True)
class Solution:
    """The best settings found for a problem: its variables and their evaluation in the full model."""

    problem: Problem
    trial: Trial
    settings: Settings

    @property
    def feasible(self) -> bool:
        """Whether every limit is kept, margins included."""
        return self.settings.feasible and bool(self.trial.violation[0] <= 0.0)


def solve(
    problem: Problem, shorter: Sequence[Trial] = (), starts: Sequence[Trial] = (), *, seed: int = 0,
    generations: int = GENERATIONS, effort: Effort = CLOSE,
) -> Solution:  # fmt: skip
    """Return the best settings of a problem, evaluated in the full model; arguments as in `explore`."""
    found = explore(problem, shorter, starts, seed=seed, generations=generations, effort=effort)
    return evaluate_in_full(problem, found)


def explore(
    problem: Problem, shorter: Sequence[Trial] = (), starts: Sequence[Trial] = (), *, seed: int = 0,
    generations: int = GENERATIONS, effort: Effort = CLOSE,
) -> Trial:  # fmt: skip
    """Return the best settings of a problem, a trial of one.

    Parameters
    ----------
    problem : Problem
    shorter : sequence of Trial
        Good settings with one stage less.
    starts : sequence of Trial
        Good settings with as many stages, from similar problems.
    seed : int
    generations : int
        Of differential evolution.
    effort : Effort
        Of the refinement.
    """
    rng = np.random.default_rng([seed, problem.count])
    problem.options = SOUGHT if effort.finish else JUDGED
    first = _starts(problem, shorter, starts, rng)
    population = _evolve(problem, first, fastest, generations, rng)
    found = _polish(problem, population.join(first), fastest, ROUGHLY if effort.finish else effort)
    if effort.finish:
        if problem.count > 1:
            found = best(fastest, found.join(_led_back(problem, first, found)))
        problem.options = JUDGED
        found = problem.look(found.x)
        if not problem.limit_values.grip_margin or found.violation[0] > RESTORED:
            # Otherwise it is refined once grip limits are found at its own entry speeds.
            found = refine(problem, found, fastest, replace(effort, radius=LAST_RADIUS))
    if problem.asked is not None and found.exit_speed[0] >= problem.asked * (1 - REACHED):
        found = _cooler(problem, population, found, problem.asked * (1 - 0.5 * REACHED), effort)
    elif found.violation[0] <= 0.0:
        least = float(found.exit_speed[0]) * (1 - LEVEL)
        cool = refine(problem, found, coolest, Effort(6, 0.05, 1e-3, 1e-3), least=least)
        found = cool if cool.heat[0] < found.heat[0] * (1 - COOLER) else found
    return found


def improve(problem: Problem, start: Trial, effort: Effort = CLOSE) -> Solution:
    """Return the best settings near `start`, settings of a similar problem."""
    x = problem.adopt(start.take([0]))
    scales = np.append(1.0, np.geomspace(0.97, 0.4, 9))[:, None]
    family = problem.look_at(start.lead[:1] * scales, x[0, problem.count :])
    found = refine(problem, best(fastest, problem.look(x).join(family)), fastest, effort)
    first = family.take([0])
    if 0.0 < first.violation[0] < RESTORED:
        # Settings that break a limit slightly may be closer to the best than slower ones that break none.
        found = best(fastest, found.join(refine(problem, first, fastest, effort)))
    if problem.asked is not None and found.exit_speed[0] >= problem.asked * (1 - REACHED):
        found = refine(problem, found, coolest, effort, least=problem.asked * (1 - 0.5 * REACHED))
    return evaluate_in_full(problem, found)


def evaluate_in_full(problem: Problem, found: Trial) -> Solution:
    """Return settings evaluated in the full model, with grip limits found at their own entry speeds."""
    margin, gained = problem.limit_values.grip_margin, False
    settings = settings_at(problem.scenario, found.lead[0], launcher_of(problem, found))
    lowest = np.full(problem.count, NO_LIMIT)
    # Where the design moves on, so does the error of the tables.
    rounds = 3 * ROUNDS if problem.choices else ROUNDS
    for turn in range(rounds if margin and found.violation[0] <= RESTORED else 0):
        before = problem.grip_correction
        table = problem.table_grip_limits(settings.throw.stages.entry_speed[None], found.design[:1])[0]
        ratio = np.where(np.isnan(settings.grip_limit), NO_LIMIT, settings.grip_limit / table)
        ratio[np.isnan(table)] = 1.0
        lowest = np.minimum(lowest, ratio)
        # Stages that have a limit at some settings and none at others may change for ever.
        problem.grip_correction = ratio if turn < rounds - 1 else lowest
        problem.grip_found = np.fmin(problem.grip_found, settings.grip_limit)
        changed = bool((np.abs(problem.grip_correction / before - 1.0) > FAR_OFF).any())
        again = problem.look(found.x)
        if settings.feasible and again.violation[0] <= 0.0 and turn and not changed and not gained:
            break
        found = refine(problem, again, fastest, CLOSE if changed else NEARBY)
        gained = bool(problem.choices) and bool(found.exit_speed[0] > again.exit_speed[0] * (1 + GAINED))
        settings = settings_at(problem.scenario, found.lead[0], launcher_of(problem, found))
    slowed = 1.0
    for turn in range(6):
        if settings.feasible or found.violation[0] > 0.0:
            break
        # The search and the full model round differently, so a limit may be broken by rounding.
        slowed -= PULLED * 2**turn
        settings = settings_at(problem.scenario, found.lead[0] * slowed, launcher_of(problem, found))
    return Solution(problem, found, settings)


def launcher_of(problem: Problem, found: Trial) -> Launcher:
    """Return the launcher with the chosen design variables."""
    if not problem.choices:
        return problem.launcher
    made = problem.machine(found.design[0])
    return replace(made, template=made.stages[-1])


def _starts(problem: Problem, shorter: Sequence[Trial], starts: Sequence[Trial], rng: np.random.Generator) -> Trial:
    """Return the first population."""
    count, extra = problem.count, problem.size - problem.count
    rows: list[Floats] = [np.full(count, np.log(share)) for share in np.geomspace(0.06, 1.0, 12)]
    rows += [np.append(np.zeros(count - 1), np.log(share)) for share in (0.5, 0.75, 0.9, 1.1, 1.4, 2.0, 3.0)]
    if count > 1:
        rows += [np.full(count, np.log(share)) for share in (1.2, 1.6, 2.4)]
    places = [np.full(extra, at) for at in ((0.5, 0.1, 0.9) if extra else (0.5,))]
    places += [rng.random(extra) for _ in range(2 * (extra - 1))][:6]
    x = np.vstack([np.hstack([rows, np.tile(place, (len(rows), 1))]) for place in places])
    feed = max(float(problem.launcher.feed.speed), 1e-3)
    fast = np.geomspace(0.5 * feed, float(problem.tops[-1]) or 1e-3, 32 if count == 1 else 12)
    if problem.tops[-1] <= 0:
        fast = np.full(1, 1e-6)
    steps = (np.arange(count) + 1) / count
    ramps = [feed + (top - feed) * steps**power for top in fast for power in ((1.0,) if count == 1 else (0.5, 1.0))]
    population = problem.look(x).join(problem.look_at(np.maximum(np.array(ramps), 1e-6)))
    for one in starts:
        known = problem.adopt(one)
        scaled = one.lead[:, None, :] * np.array([1.0, 0.99, 0.95, 0.85, 0.7])[:, None]
        population = population.join(problem.look(known)).join(
            problem.look_at(scaled.reshape(-1, count), known[0, count:])
        )
    for one in shorter:
        if one.lead.shape[1] == count - 1:
            population = population.join(extended(problem, one))
    return population


def extended(problem: Problem, one: Trial) -> Trial:
    """Return chains of one stage more than `one`, a trial of one: behind its last wheel, or between two others."""
    count = problem.count
    lasts = np.log([0.25, 0.5, 0.7, 0.85, 0.95, 1.0, 1.1, 1.5, 2.5])
    known = np.tile(one.x[0, : count - 1], (lasts.size, 1))
    tail = np.tile(_tail(problem, one), (lasts.size, 1))
    population = problem.look(np.hstack([known, lasts[:, None], tail]))
    # A last stage that adds little: its wheel as fast as the projectile.
    shares = np.array([1.0, 0.97, 0.9, 0.75, 0.55])
    chains = one.lead[0] * shares[:, None]
    last = np.concatenate([chains[:, -1:] * more for more in (1.0, 1.05, 1.15)])
    population = population.join(problem.look_at(np.hstack([np.tile(chains, (3, 1)), last]), _tail(problem, one)))
    between = _with_one_between(one.lead[0], max(float(problem.launcher.feed.speed), 1e-3))
    return population.join(problem.look_at(between, _tail(problem, one)))


def _with_one_between(lead: Floats, feed: float) -> Floats:
    """Return chains with one wheel more before each wheel, its speed between those around it [m/s].

    Smaller steps slip less, which pays where a budget of slip heat or power binds.
    lead : shape (stages,); result : (3 stages, stages + 1).
    """
    before = np.append(feed, lead[:-1])
    return np.array([
        np.insert(lead, place, before[place] ** (1 - share) * wheel**share)
        for place, wheel in enumerate(lead) for share in (0.3, 0.5, 0.75)
    ])  # fmt: skip


def _tail(problem: Problem, one: Trial) -> Floats:
    """Return the choices of a chain of one stage less; the last stage has those of the one before."""
    return problem.design_variables(np.concatenate([one.design[0], one.design[0, -1:]])[: problem.count])


def _evolve(
    problem: Problem, population: Trial, objective: Objective, generations: int, rng: np.random.Generator
) -> Trial:
    """Improve a population by differential evolution (Storn and Price 1997), a generation at a time."""
    order = np.argsort(-score(objective, population), kind="stable")
    members = min(MEMBERS + 2 * problem.size, len(population))
    front = order[: members // 2]
    rest = order[members // 2 :]
    population = population.take(np.concatenate([front, rng.permutation(rest)[: members - front.size]]))
    for _ in range(generations if problem.size > 1 else generations // 3):
        value = score(objective, population)
        leaders = np.argsort(-value, kind="stable")[: max(members // 5, 2)]
        size = len(population)
        first, second = (rng.integers(size, size=size) for _ in range(2))
        toward = rng.choice(leaders, size)
        weight = rng.uniform(0.3, 0.9, (size, 1))
        x = population.x
        mutant = x + weight * (x[toward] - x) + weight * (x[first] - x[second])
        crossed = rng.random(x.shape) < 0.8
        crossed[np.arange(size), rng.integers(problem.size, size=size)] = True
        tried = problem.look(np.where(crossed, mutant, x))
        better = score(objective, tried) > value
        if better.any():
            both = population.join(tried)
            population = both.take(np.where(better, size + np.arange(size), np.arange(size)))
    return population


def _polish(problem: Problem, population: Trial, objective: Objective, effort: Effort) -> Trial:
    """Refine the best settings of POLISHED patterns, and return the best result.

    A pattern is which wheels run about as fast as throws fastest: from one to another the way leads through worse
    settings. Where there are fewer patterns, and of a single stage, settings that are not close are refined.
    """
    order = np.argsort(-score(objective, population), kind="stable")
    patterns = population.x[:, : problem.count] > SLOW
    places = np.hstack([np.log(np.maximum(population.lead, 1e-9)), population.x[:, problem.count :]])
    chosen: list[int] = []

    def choose(apart: Callable[[int, int], bool], most: int) -> None:
        for row in order:
            if len(chosen) == most:
                break
            if all(apart(int(row), other) for other in chosen):
                chosen.append(int(row))

    if problem.count > 1:
        choose(lambda row, other: bool((patterns[row] != patterns[other]).any()), POLISHED)
    choose(lambda row, other: np.abs(places[row] - places[other]).max() >= APART, POLISHED + (problem.count == 1))
    found = population.take(chosen[:1])
    for number, row in enumerate(chosen):
        one = refine(problem, population.take([row]), objective, effort, known=found if number else None)
        found = best(objective, found.join(one)) if number else one
    return found


def _led_back(problem: Problem, starts: Trial, known: Trial) -> Trial:
    """Refine the start that promises most if what it breaks is made good: evolution keeps such starts only where too
    few others break nothing."""
    promise = np.log(np.maximum(starts.exit_speed, 1e-9)) - PRICE * np.minimum(starts.violation, JAM)
    start = starts.take([int(np.argmax(promise))])
    return refine(problem, start, fastest, ROUGHLY, known=known)


def _cooler(problem: Problem, population: Trial, found: Trial, least: float, effort: Effort) -> Trial:
    """Return settings that reach `least` [m/s] with the least slip heat."""
    cool = refine(problem, found, coolest, effort, least=least)
    fits = population.take(np.flatnonzero((population.violation <= 0.0) & (population.exit_speed >= least)))
    if len(fits):
        other = refine(problem, best(coolest, fits), coolest, effort, least=least)
        if other.violation[0] <= 0.0 and other.exit_speed[0] >= least:
            cool = best(coolest, cool.join(other))
    return cool


def most_stages(
    launcher: Launcher, scenario: Scenario, margins: Mapping[str, float] = NO_MARGINS, most: int | None = None
) -> int:
    """Return the greatest stage count that the limits on what is built allow, up to `most` (None: limits.stages)."""
    allowed = scenario.limit_values.stages if most is None else most
    counts = range(allowed + 1)
    limit_values = scenario.limit_values
    broken = (bool(broken_by(spanned(launcher, count), limit_values, count, margins)) for count in counts)
    return next((max(count - 1, 0) for count, one in zip(counts, broken, strict=True) if one), allowed)


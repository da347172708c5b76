"""Find the best settings of a given stage count.

Starts are wheel speeds log-spaced over the whole range from the feed speed up, the chain as a whole scaled down, and
the best chain of one stage less with a stage added. The best are refined in the true model by sequential linear
programming with one-sided slopes; feasible ones come before infeasible, less violation before more.

The best settings lie on kinks, where each wheel just catches the projectile, so a linear model with one slope per
variable is wrong. Each variable is tried in both directions, the model uses the slope of the direction it steps in, and
a trust region shrinks where the model was wrong. Limits are elastic: a start that breaks some is led back.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stager.constraints import broken_by
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.optimise.grip_limits import grip_limits
from stager.optimise.judge import JUDGED, REACHED, SOUGHT, least_speed, settings_at
from stager.optimise.linear import minimise
from stager.optimise.problem import JAM, KEPT, NO_LIMIT, NO_MARGINS, GripCorrection, Problem, Trial, spanned
from stager.optimise.records import Settings
from stager.physics.chain import throw
from stager.physics.records import Throw

Objective = Callable[[Trial], Floats]
"""Returns what is to be maximised, (samples,)."""
SHARES = np.array([1.0, 0.7, 0.4, 0.15, 0.03])
"""Shares of a step that are all tried [-]."""
STEP = 1e-4
"""Step of central differences in `smooth` [-]."""
ROOM = 0.3
"""Greatest change of a variable in `smooth` [-]."""
AIMED = 1e-7
"""Least slack that `smooth` aims at [-]."""
CHECK_RADIUS = 3e-3
"""Trust region in which the result is checked for further gain [-]."""
UNSETTLED = 5e-6
"""Promised gain in that region above which the result is not on a kink [-]."""
JOINED = 0.01
"""Distance to known settings at which a refinement ends [-]."""
PENALTY = 10.0
"""Merit that a violation of 1 costs at first [-]."""
INNER = 0.3
"""Inner of the two points tried on either side of a variable, over the trust region; and the factor by which the
region shrinks where the model was wrong, so that these points are the outer ones next [-]."""


@dataclass(frozen=True, slots=True)
class Effort:
    """Effort of a refinement.

    rounds: greatest number of steps; radius, smallest: first and last trust region [-]; gain: gain that is too small
    to go on for [-]; finish: use `smooth` where the result is not on a kink; cool: of settings about as fast, look for
    those with less slip heat.
    """

    rounds: int = 16
    radius: float = 0.08
    smallest: float = 2e-5
    gain: float = 2e-7
    finish: bool = False
    cool: bool = True


ANSWER_EFFORT = Effort(finish=True)
"""Effort for answers."""
CANDIDATE_EFFORT = Effort(rounds=12, smallest=5e-5, gain=5e-6, cool=False)
"""Effort for candidates of which the best is refined again, and for whether a speed can be reached."""
COMPARISON_EFFORT = Effort(rounds=8, radius=0.03, smallest=2e-4, gain=1e-5)
"""Effort for comparing candidates."""


def fastest(trial: Trial) -> Floats:
    """Return exit speed [m/s], to be maximised."""
    return trial.exit_speed


def coolest(trial: Trial) -> Floats:
    """Return minus the slip heat [J], to be maximised."""
    return -trial.heat


def score(objective: Objective, trial: Trial) -> Floats:
    """Return a rank value: feasible samples by the objective, infeasible ones below them by their violation."""
    with np.errstate(invalid="ignore"):
        value = np.nan_to_num(objective(trial), neginf=-1e9)
        return np.where(trial.violation <= 0.0, value, -1e12 * (1 + trial.violation))


def best(objective: Objective, trial: Trial) -> Trial:
    """Return the best sample, as a trial of one."""
    return trial.take([int(np.argmax(score(objective, trial)))])


def refine(
    problem: Problem, start: Trial, objective: Objective, effort: Effort = ANSWER_EFFORT, least: float = 0.0
) -> Trial:  # fmt: skip
    """Return the best settings found from `start`, a trial of one; least: least exit speed [m/s], 0: none."""
    return refine_all(problem, [start], objective, effort, least)[0]


def refine_all(
    problem: Problem, starts: Sequence[Trial], objective: Objective, effort: Effort = ANSWER_EFFORT, least: float = 0.0
) -> list[Trial]:  # fmt: skip
    """Return the best settings found from each start, a trial of one; least: least exit speed [m/s], 0: none.

    All are refined together, so that what they look at is thrown at once. One that comes close to an earlier one which
    breaks no limit ends there: beside it there is nothing to find.
    """
    here, found, penalties = list(starts), list(starts), [PENALTY] * len(starts)
    works = [_refining(problem, here, number, objective, effort, least) for number in range(len(starts))]
    asked = {number: next(work) for number, work in enumerate(works) if not starts[number].jammed[0]}
    while asked:
        looked, low = problem.look(np.vstack(list(asked.values()))), 0
        for number, x in list(asked.items()):
            rows = np.arange(low, low + len(x))
            low += len(x)
            try:
                asked[number] = works[number].send(looked.take(rows))
            except StopIteration as done:
                found[number], penalties[number] = done.value
                del asked[number]
    if not effort.finish:
        return found
    return [
        _finished(problem, one, objective, effort, least, penalty)
        for one, penalty in zip(found, penalties, strict=True)
    ]


def _refining(
    problem: Problem, places: list[Trial], number: int, objective: Objective, effort: Effort, least: float
) -> Generator[Floats, Trial, tuple[Trial, float]]:  # fmt: skip
    """Refine the settings `places[number]`, which get through: yield variables to look at, take what is there.

    Returns the best settings and the merit that a violation costs there.
    places: where each of the refinements that run together is; this one keeps its own up to date.
    """
    kept = here = places[number]
    radius, penalty, sides = effort.radius, PENALTY, 2 * problem.size
    outer: Trial | None = None
    for _ in range(effort.rounds):
        moves = _moves(problem.size, radius)
        around = (yield here.x + moves) if outer is None else (yield here.x + moves[:sides]).join(outer)
        model = _Model(problem, here, around, objective, least)
        move, promised, price = model.step(penalty)
        penalty = max(penalty, 2.0 * price)
        around = model.trials.join((yield here.x + SHARES[:, None] * move))
        merit = _merit(around, objective, model.scale, penalty, least)
        before = _merit(here, objective, model.scale, penalty, least)[0]
        place = int(np.argmax(merit))
        gained = float(merit[place] - before)
        kept = _better(objective, kept, around, least)
        reach = np.abs(around.x[place] - here.x[0]).max() if gained > 0 else 0.0
        if gained > 0:
            here, outer = around.take([place]), None
            places[number] = here
        else:
            outer = model.trials.take(np.arange(sides))
        if any(np.abs(here.x - one.x).max() < JOINED and one.violation[0] <= 0.0 for one in places[:number]):
            break
        whole, part = reach > 0.9 * radius and gained > 0.5 * promised, gained > 0.3 * promised
        radius = min(radius * 1.7, 0.3) if whole else radius * (0.6 if part and reach > 0.4 * radius else INNER)
        if radius < effort.smallest or (max(promised, gained) < effort.gain and radius < 30 * effort.smallest):
            break
    return kept, penalty


def _finished(
    problem: Problem, kept: Trial, objective: Objective, effort: Effort, least: float, penalty: float
) -> Trial:  # fmt: skip
    """Return refined settings, polished with smooth models where they are not on a kink."""
    if kept.jammed[0] or kept.violation[0] > RESTORED:
        return kept
    around = problem.look(kept.x + _moves(problem.size, CHECK_RADIUS))
    _, promised, _ = _Model(problem, kept, around, objective, least).step(penalty)
    return smooth(problem, kept, objective, effort, least) if promised > UNSETTLED else kept


def smooth(problem: Problem, start: Trial, objective: Objective, effort: Effort, least: float = 0.0) -> Trial:
    """Polish settings away from kinks by sequential quadratic programming (SLSQP, Kraft 1988)."""
    from scipy.optimize import minimize

    if start.jammed[0]:
        return start
    size, scale = problem.size, max(abs(float(objective(start)[0])), 1e-9)
    kept, seen = start, dict[bytes, tuple[Floats, Floats]]()
    moves = np.vstack([np.zeros(size), STEP * np.eye(size), -STEP * np.eye(size)])

    def values(x: Floats) -> tuple[Floats, Floats]:
        """Return minus the objective, and the slacks, (rows,), and their slopes, (rows, variables)."""
        nonlocal kept
        key = x.tobytes()
        if key not in seen:
            trials = problem.look(x + moves)
            kept = _better(objective, kept, trials, least)
            rows = [-objective(trials) / scale, *(trials.slack.T - AIMED)]
            if least:
                rows.append(trials.exit_speed / least - 1.0)
            table = np.nan_to_num(np.stack(rows), posinf=1e3, neginf=-1e3)
            seen[key] = table[:, 0], (table[:, 1 : size + 1] - table[:, size + 1 :]) / (2 * STEP)
        return seen[key]

    limits = [{"type": "ineq", "fun": lambda x: values(x)[0][1:], "jac": lambda x: values(x)[1][1:]}]
    here = start.x[0]
    minimize(
        lambda x: float(values(x)[0][0]), here, jac=lambda x: values(x)[1][0], method="SLSQP", constraints=limits,
        bounds=np.column_stack([np.maximum(problem.low, here - ROOM), np.minimum(problem.high, here + ROOM)]),
        options={"maxiter": effort.rounds, "ftol": 1e-8},
    )  # fmt: skip
    return kept


def _better(objective: Objective, kept: Trial, around: Trial, least: float) -> Trial:
    """Return the best of `kept` and `around`."""
    both = kept.join(around)
    value = score(objective, both)
    if least:
        value = np.where(both.exit_speed >= least, value, value - 1e10)
    return both.take([int(np.argmax(value))])


def _merit(trial: Trial, objective: Objective, scale: float, penalty: float, least: float) -> Floats:
    short = np.maximum(1.0 - trial.exit_speed / least, 0.0) if least else 0.0
    with np.errstate(invalid="ignore"):
        merit = objective(trial) / scale - penalty * (np.minimum(trial.violation, 50.0) + short)
    return np.where(trial.jammed | ~np.isfinite(merit), -np.inf, merit)


def _moves(size: int, radius: float) -> Floats:
    """Return moves of a model's points, (4 size, size): inner ones up and down in each variable, then outer ones."""
    ends = [way * np.eye(size) for way in (1.0, -1.0)]
    return np.vstack([share * radius * end for share in (INNER, 1.0) for end in ends])


class _Model:
    """Piecewise linear model of objective and slacks around a setting, with two points on either side per variable."""

    def __init__(self, problem: Problem, here: Trial, trials: Trial, objective: Objective, least: float) -> None:
        """Build the model from what is `here` and at its `_moves`."""
        size = problem.size
        self.problem, self.here, self.least, self.trials = problem, here, least, trials
        values = self._values(here, objective)[0]
        self.scale = max(abs(float(values[0])), 1e-9)
        unit = np.append(self.scale, np.ones(values.size - 1))
        self.values = values / unit
        around = (self._values(self.trials, objective) / unit).reshape(2, 2 * size, -1)
        moved = np.abs(self.trials.x - here.x).max(axis=1).reshape(2, 2 * size)
        jammed = self.trials.jammed.reshape(2, 2 * size)
        # Segments: from here to the inner point, and on to the outer one, first all up, then all down.
        self.length = np.stack([moved[0], moved[1] - moved[0]])
        rise = np.stack([around[0] - self.values, around[1] - around[0]])
        with np.errstate(divide="ignore", invalid="ignore"):
            slopes = rise / self.length[..., None]
        shut = jammed | (self.length <= 0) | ~np.isfinite(slopes).all(axis=2)
        shut[1] |= shut[0]
        slopes[shut] = 0.0
        self.length = np.where(shut, 0.0, self.length)
        # In a valley the objective rises in both directions; use the mean slope there.
        up, down = slopes[0, :size], slopes[0, size:]
        valley = (up[:, 0] + down[:, 0] > 1e-9) & ~shut[0, :size] & ~shut[0, size:]
        mean = (up - down) / 2
        for row in slopes:
            row[:size][valley], row[size:][valley] = mean[valley], -mean[valley]
        self.slopes = slopes.reshape(4 * size, -1)

    def _values(self, trial: Trial, objective: Objective) -> Floats:
        rows = [objective(trial), *trial.slack.T]
        if self.least:
            rows.append(trial.exit_speed / self.least - 1.0)
        return np.asarray(np.nan_to_num(np.stack(rows, axis=-1), posinf=1e6, neginf=-1e6))

    def step(self, penalty: float) -> tuple[Floats, float, float]:
        """Return the step of the linear programme, the gain of merit it promises, and a limit's greatest multiplier."""
        size, slack, length = self.problem.size, self.values[1:], self.length.ravel()
        reach = (np.abs(self.slopes[:, 1:]) * length[:, None]).sum(axis=0)
        near = np.flatnonzero(slack < reach + 10 * KEPT)
        cost = np.concatenate([-self.slopes[:, 0], np.full(near.size, penalty)])
        rows = np.hstack([-self.slopes[:, 1 + near].T, -np.eye(near.size)])
        ends = np.concatenate([length, np.full(near.size, np.inf)])
        found = minimise(cost, rows, slack[near], ends)
        if found is None:
            return np.zeros(size), 0.0, 0.0
        taken = found.x[: 4 * size].reshape(2, 2 * size).sum(axis=0)
        promised = float(penalty * np.maximum(-slack, 0.0).sum() - cost @ found.x)
        price = float(np.abs(found.prices).max(initial=0.0))
        return taken[:size] - taken[size:], promised, min(price, 1e3)


PATTERNS = 3
"""Patterns of which the best settings are refined."""
POLISHED = 4
"""Settings that are refined together."""
SLOW = -0.06
"""Logarithm of a wheel's speed over its fastest setting below which it counts as slow [-]."""
APART = 0.03
"""Least distance between settings that are both refined [-]."""
ROUNDS = 4
"""Rounds in which grip limits are found at the settings' own entry speeds."""
LAST_RADIUS = 0.01
"""First trust region of the refinement of the best of them [-]."""
GAINED = 2e-4
"""Gain of exit speed in a round for which a further one is made [-]."""
FAR_OFF = 0.02
"""Error of a grip limit of the tables beyond which the search goes farther [-]."""
SLOWER_BY = 0.02
"""Share by which a wheel is slower to find how a grip limit depends on it [-]."""
NEARBY_EFFORT = Effort(rounds=12, radius=0.03, smallest=2e-5, finish=True)
"""Effort where grip limits have changed little."""
RESTORED = 0.2
"""Greatest violation from which settings are led back to feasible ones [-]."""
PRICE = 0.5
"""Logarithm of exit speed by which a start must be faster for each unit of violation [-]."""
BEYOND = 0.02
"""Logarithm of a wheel's speed over its fastest setting above which it slips more than it needs to [-]."""
SLOWER = np.log(np.linspace(0.4, 1.0, 13))
"""The same logarithms of the wheel speeds that are tried instead [-]."""
LEVEL = 2e-5
"""Share of exit speed that settings with less slip heat may cost [-]."""
COOLER = 0.01
"""Share of slip heat that they must save [-]."""


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
    problem: Problem, shorter: Sequence[Trial] = (), starts: Sequence[Trial] = (), effort: Effort = ANSWER_EFFORT
) -> Solution:  # fmt: skip
    """Return the best settings of a problem, evaluated in the full model; arguments as in `explore`.

    Where grip limits turn out far from those of the tables, settings that these had forbidden may be better, so the
    search is made once more with the limits that were found.
    """
    assumed = problem.grip_correction
    found = explore(problem, shorter, starts, effort)
    first = evaluate_in_full(problem, found)
    known = problem.grip_correction, problem.grip_found
    near = not _changed(problem.grip_correction, assumed, first.settings)
    if near or problem.count == 1 or not effort.finish or (first.feasible and _enough(problem, first.settings)):
        return first
    found = explore(problem, shorter, [*starts, first.trial], effort)
    second = evaluate_in_full(problem, found)
    if (second.feasible, second.settings.exit_speed) > (first.feasible, first.settings.exit_speed):
        return second
    problem.grip_correction, problem.grip_found = known
    return first


def explore(
    problem: Problem, shorter: Sequence[Trial] = (), starts: Sequence[Trial] = (), effort: Effort = ANSWER_EFFORT
) -> Trial:  # fmt: skip
    """Return the best settings of a problem, a trial of one.

    Parameters
    ----------
    problem : Problem
    shorter : sequence of Trial
        Good settings with one stage less.
    starts : sequence of Trial
        Good settings with as many stages, from similar problems.
    effort : Effort
        Of the refinement.
    """
    problem.options = SOUGHT if effort.finish else JUDGED
    population = _starts(problem, shorter, starts)
    found = _polish(problem, population, effort)
    if effort.finish:
        problem.options = JUDGED
        found = problem.look(found.x)
        if not problem.limit_values.grip_margin or found.violation[0] > RESTORED:
            # Otherwise it is refined once grip limits are found at its own entry speeds.
            found = refine(problem, found, fastest, replace(effort, radius=LAST_RADIUS))
    if not effort.cool:
        return found
    found = _gripping(problem, found, effort)
    if (least := _reached(problem, found)) is not None:
        return _cooler(problem, population, found, least, effort)
    return _as_fast(problem, found)


def improve(problem: Problem, start: Trial, effort: Effort = ANSWER_EFFORT) -> Solution:
    """Return the best settings near `start`, settings of a similar problem."""
    x = problem.adopt(start.take([0]))
    scales = np.append(1.0, np.geomspace(0.97, 0.4, 9))[:, None]
    family = problem.look_at(start.lead[:1] * scales, x[0, problem.count :])
    known = problem.look(x)
    found = refine(problem, best(fastest, known.join(family)), fastest, effort)
    first = family.take([0])
    if 0.0 < first.violation[0] < RESTORED:
        # Settings that break a limit slightly may be closer to the best than slower ones that break none.
        found = best(fastest, found.join(refine(problem, first, fastest, effort)))
    least = _reached(problem, found)
    if least is None:
        # The start may have been chosen from settings as fast for its slip heat.
        found = _as_fast(problem, _preferred(found, known))
    else:
        found = refine(problem, found, coolest, effort, least=least)
    return evaluate_in_full(problem, found)


def _reached(problem: Problem, found: Trial) -> float | None:
    """Return the exit speed to keep while heat is lowered [m/s]; None where no speed is asked for or it is missed."""
    enough, kept = (least_speed(problem.scenario, short) for short in (REACHED, 0.5 * REACHED))
    return kept if enough is not None and found.exit_speed[0] >= enough else None


def evaluate_in_full(problem: Problem, found: Trial) -> Solution:
    """Return settings evaluated in the full model, with grip limits found at their own entry speeds."""
    margin, gained = problem.limit_values.grip_margin, False
    held: tuple[Trial, Settings, GripCorrection] | None = None
    settings = settings_at(problem.scenario, found.lead[0], launcher_of(problem, found))
    lowest = np.full(problem.count, NO_LIMIT)
    # Where the design moves on, so does the error of the tables.
    rounds = 3 * ROUNDS if problem.choices else ROUNDS
    for turn in range(rounds if margin and found.violation[0] <= RESTORED else 0):
        before = problem.grip_correction
        now = correct_grip(problem, found, settings)
        lowest = np.minimum(lowest, now.ratio)
        # Stages that have a limit at some settings and none at others may change for ever.
        problem.grip_correction = now if turn < rounds - 1 else now._replace(ratio=lowest)
        problem.grip_found = np.fmin(problem.grip_found, settings.grip_limit)
        changed = _changed(problem.grip_correction, before, settings)
        again = problem.look(found.x)
        if settings.feasible and again.violation[0] <= 0.0 and turn and not changed and not gained:
            if not _roomier(problem.grip_correction, before, settings) or _enough(problem, settings):
                break
            held = again, settings, problem.grip_correction
        found = refine(problem, again, fastest, ANSWER_EFFORT if changed else NEARBY_EFFORT)
        gained = bool(problem.choices) and bool(found.exit_speed[0] > again.exit_speed[0] * (1 + GAINED))
        settings = settings_at(problem.scenario, found.lead[0], launcher_of(problem, found))
    for _ in range(ROUNDS):
        if settings.feasible or found.violation[0] > 0.0:
            break
        # The search and the full model round differently: of limits broken by rounding that much more is left.
        problem.leave(settings.verdicts)
        found = _refined_again(problem, problem.look(found.x))
        settings = settings_at(problem.scenario, found.lead[0], launcher_of(problem, found))
    if held is not None and not settings.feasible:
        found, settings, problem.grip_correction = held
    return Solution(problem, found, settings)


def _refined_again(problem: Problem, found: Trial) -> Trial:
    """Return settings refined where limits have changed little, for what they were chosen for."""
    least = _reached(problem, found)
    if least is None:
        return refine(problem, found, fastest, NEARBY_EFFORT)
    return refine(problem, found, coolest, NEARBY_EFFORT, least=least)


def correct_grip(problem: Problem, found: Trial, settings: Settings) -> GripCorrection:
    """Return the grip limits of settings over those of the tables; with slopes where stages hold it at once."""
    lead, count, machine = settings.lead, problem.count, launcher_of(problem, found)
    ratio, slopes = _ratios(problem, found, settings.throw, settings.grip_limit), np.zeros((count, count))
    for k in range(count - 1 if problem.joint else 0):
        slower = throw(machine, np.where(np.arange(count) == k, (1 - SLOWER_BY) * lead, lead), options=JUDGED)
        there = _ratios(problem, found, slower, grip_limits(machine, problem.limit_values, slower))
        known = (ratio < NO_LIMIT) & (there < NO_LIMIT)
        slopes[:, k] = np.where(known, np.log(there / ratio) / np.log(1 - SLOWER_BY), 0.0)
    return GripCorrection(ratio, lead, slopes)


def _ratios(problem: Problem, found: Trial, done: Throw, known: Floats) -> Floats:
    """Return grip limits of the stages in a throw over those of the tables [-], NO_LIMIT where there is none."""
    table = problem.table_grip_limits(done.stages.entry_speed[None], found.design[:1])[0]
    ratio = np.where(np.isnan(known), NO_LIMIT, known / table)
    ratio[np.isnan(table)] = 1.0
    return ratio


def _changed(now: GripCorrection, before: GripCorrection, settings: Settings) -> bool:
    """Return whether grip limits of settings are far from those expected before."""
    return bool((np.abs(now.at(settings.lead) / before.at(settings.lead) - 1.0) > FAR_OFF).any())


def _roomier(now: GripCorrection, before: GripCorrection, settings: Settings) -> bool:
    """Return whether grip limits of settings leave wheels more room than those expected before."""
    return bool((now.at(settings.lead) / before.at(settings.lead) - 1.0 > GAINED).any())


def _enough(problem: Problem, settings: Settings) -> bool:
    """Return whether settings reach the exit speed that is asked for."""
    enough = least_speed(problem.scenario)
    return enough is not None and settings.exit_speed >= enough


def launcher_of(problem: Problem, found: Trial) -> Launcher:
    """Return the launcher with the chosen design variables."""
    if not problem.choices:
        return problem.launcher
    made = problem.machine(found.design[0])
    return replace(made, template=made.stages[-1])


def _starts(problem: Problem, shorter: Sequence[Trial], starts: Sequence[Trial]) -> Trial:
    """Return the starts."""
    count, extra = problem.count, problem.size - problem.count
    rows: list[Floats] = [np.full(count, np.log(share)) for share in np.geomspace(0.06, 1.0, 12)]
    rows += [np.append(np.zeros(count - 1), np.log(share)) for share in (0.5, 0.75, 0.9, 1.1, 1.4, 2.0, 3.0)]
    if count > 1:
        rows += [np.full(count, np.log(share)) for share in (1.2, 1.6, 2.4)]
    places = [np.full(extra, at) for at in ((0.5, 0.1, 0.9) if extra else (0.5,))]
    rng = np.random.default_rng([0, problem.count])
    places += [rng.random(extra) for _ in range(2 * (extra - 1))][:6]
    x = np.vstack([np.hstack([rows, np.tile(place, (len(rows), 1))]) for place in places])
    feed = max(float(problem.launcher.feed.speed), 1e-3)
    fast = np.geomspace(0.5 * feed, float(problem.tops[-1]) or 1e-3, 64 if count == 1 else 12)
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


def _polish(problem: Problem, population: Trial, effort: Effort) -> Trial:
    """Refine the best settings of several patterns, and the start that promises most; return the best result.

    A pattern is which wheels run about as fast as throws fastest: from one to another the way leads through worse
    settings. Beside the best of PATTERNS patterns, settings that are not close are refined, POLISHED in all.
    """
    order = np.argsort(-score(fastest, population), kind="stable")
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
        choose(lambda row, other: bool((patterns[row] != patterns[other]).any()), PATTERNS)
    choose(lambda row, other: np.abs(places[row] - places[other]).max() >= APART, POLISHED)
    starts = [population.take([row]) for row in chosen]
    if effort.finish:
        starts.append(promising(population))
    found, *others = refine_all(problem, starts, fastest, CANDIDATE_EFFORT if effort.finish else effort)
    for one in others:
        found = _preferred(found, one)
    return found


def _preferred(found: Trial, other: Trial) -> Trial:
    """Return the faster of two feasible trials, and of two about as fast the one with less slip heat.

    Under a limit on exit speed a wheel that slips far beyond its grip limit throws as fast as one that grips.
    """
    both = found.join(other)
    if (both.violation <= 0.0).all() and both.exit_speed.min() >= both.exit_speed.max() * (1 - LEVEL):
        return other if other.heat[0] < found.heat[0] * (1 - COOLER) else found
    return best(fastest, both)


def _gripping(problem: Problem, found: Trial, effort: Effort) -> Trial:
    """Return settings as fast in which wheels that slip beyond their fastest speed are slower ones that grip."""
    for k in range(0 if problem.joint else problem.count):
        if found.violation[0] > 0.0 or found.x[0, k] <= BEYOND:
            continue
        x = np.tile(found.x, (SLOWER.size, 1))
        x[:, k] = SLOWER
        found = _preferred(found, refine(problem, best(fastest, problem.look(x)), fastest, effort))
    return found


def _as_fast(problem: Problem, found: Trial) -> Trial:
    """Return settings as fast with less slip heat, where there are any; else those found."""
    if found.violation[0] > 0.0:
        return found
    least = float(found.exit_speed[0]) * (1 - LEVEL)
    return _preferred(found, refine(problem, found, coolest, Effort(6, 0.05, 1e-3, 1e-3), least=least))


def promising(starts: Trial) -> Trial:
    """Return the start that promises most if what it breaks is made good."""
    promise = np.log(np.maximum(starts.exit_speed, 1e-9)) - PRICE * np.minimum(starts.violation, JAM)
    return starts.take([int(np.argmax(promise))])


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

"""Settings for uncertain builds: reserves of hard limits, robust settings, first throws.

The reserve of a hard limit is the slack that the nominal build needs for the requested share of builds to keep all hard
limits together. It is found on common random numbers: the shift of a limit's slack from the nominal build to a drawn
one hardly depends on the settings, so its quantiles give the slack that the nominal build needs.

Robust settings have the greatest low quantile of exit speed over builds, or the least spread of it. At the nominal
optimum wheels are as fast as the nominal launcher's grip allows; a little slower, nearly every build still grips.
Settings are chosen on some draws and evaluated on others, as they look too good on their own draws (Luedtke and Ahmed,
SIAM J. Optim. 19, 2008).

First throws with a launcher that was never measured go from slow wheels up to the settings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, no_throw
from stager.constraints.limit import ROUNDING
from stager.constraints.recommend import NOMINAL_ONLY, required_share, safe_settings
from stager.model.arrays import Floats, Number
from stager.model.launcher import Scenario
from stager.optimise.clock import Clock
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.judge import JUDGED, REACHED, least_speed, settings_at
from stager.optimise.parts import BestDesign
from stager.optimise.problem import TINY, Problem, Trial
from stager.optimise.records import Margin, Robust, Settings
from stager.optimise.search import RESTORED, Effort, Solution, launcher_of, refine, refine_all
from stager.optimise.spin import sides, way_of
from stager.physics.chain import SURE, Options, throw
from stager.physics.flight import outlet_speed
from stager.physics.records import FIELDS, Throw, Transit, flatten, take

DRAWN = Options(tolerance=1e-5)
"""Integration of throws of draws."""
STEADIED = Options(tolerance=1e-6, energies=False)
"""Where the spread of their exit speeds is to be the least, which is flat there."""
NO_RESERVE: Mapping[str, float] = {}
MARGIN_DRAWS = 1000
"""Draws on which a reserve is found."""
SPREADS = 2.0
"""Standard errors by which the target share exceeds the confidence, as both samples vary [-]."""
LOOKED = 100
"""Draws on which costly limits are evaluated first."""
SAFE_DISTANCE = 5.0
"""Distance of their mean slack from 0 in standard deviations that makes further draws needless [-]."""
TIGHT = 2e-3
"""Slack beyond its reserve up to which a limit counts as used up [-]."""
LARGE = 0.3
"""Shift of a slack from which it is taken to be in proportion to what the nominal build uses of the limit [-]."""
BROKEN = 3.0
"""Share by which a limit counts as broken at most [-]: windings that heat up without end say no more than that."""
AT_REST = 0.95
"""Greatest reserve of a wheel's limit over its slack at rest [-]."""


def margin_draws(scenario: Scenario) -> Draws | None:
    """Return the draws on which reserves are found; None where no reserve is asked for."""
    if not is_uncertain(scenario) or scenario.limit_values.confidence <= NOMINAL_ONLY:
        return None
    found = draw(scenario, MARGIN_DRAWS, np.random.default_rng(7))
    return Draws(values=found.values, launcher=flatten(found.launcher, (found.lanes,)), lanes=found.lanes)


def target(confidence: float) -> float:
    """Return the share of the draws that must keep the hard limits so that fresh ones do with `confidence` [-]."""
    return required_share(confidence, MARGIN_DRAWS, SPREADS)


def throw_draws(draws: Draws, settings: Settings) -> Throw:
    """Return throws of all draws at the same wheel speeds."""
    each = np.ones((draws.lanes, 1))
    other = None if settings.wheel_speed_b is None else each * settings.wheel_speed_b
    return throw(draws.launcher, each * settings.wheel_speed, other, options=DRAWN)


def hard_slacks(scenario: Scenario, draws: Draws, done: Throw) -> dict[str, tuple[Floats, Floats]]:
    """Return slack [-] and value, in units of the nominal bound, of each hard limit by name, shapes (draws + 1,)."""
    limit_values, lanes = scenario.limit_values, draws.lanes
    point = OperatingPoint(launcher=draws.launcher, limit_values=limit_values, throw=done, options=DRAWN)
    few = np.arange(min(LOOKED, lanes))
    some = OperatingPoint(
        launcher=take(draws.launcher, few), limit_values=limit_values, throw=rows(done, few), options=DRAWN
    )
    found: dict[str, tuple[Floats, Floats]] = {}
    for limit in LIMITS:
        if not limit.hard:
            continue
        if limit.kind is Kind.STEADY:
            result = evaluate(limit, some)
            if result is None:
                continue
            slack = _known(result.slack, few.shape)
            if slack.mean() > SAFE_DISTANCE * slack.std() and slack.min() > 0:
                filled = np.resize(slack[1:], lanes - 1)
                value = np.resize(np.broadcast_to(result.value, few.shape)[1:], lanes - 1)
                first = float(np.broadcast_to(result.value, few.shape)[0])
                found[limit.name] = np.append(slack[0], filled), np.append(first, value)
                continue
        result = evaluate(limit, point)
        if result is not None:
            slack = _known(result.slack, (lanes,))
            bound = np.broadcast_to(result.bound, (lanes,))
            with np.errstate(divide="ignore", invalid="ignore"):
                value = np.broadcast_to(result.value, (lanes,)) * np.where(bound != 0, bound[0] / bound, 1.0)
            found[limit.name] = slack, value
    return found


def _known(slack: Number, shape: tuple[int, ...]) -> Floats:
    """Return slacks [-]: unknown counts as broken, and what grows without bound as broken by BROKEN."""
    return np.asarray(np.maximum(np.nan_to_num(np.broadcast_to(slack, shape), nan=-1.0), -BROKEN))


def at_rest(scenario: Scenario, draws: Draws, count: int) -> dict[str, Floats]:
    """Return the slack of each hard limit on wheels with all of them at rest [-], shapes (draws + 1,)."""
    done = no_throw(np.zeros((draws.lanes, count)))
    point = OperatingPoint(launcher=draws.launcher, limit_values=scenario.limit_values, throw=done)
    found = {}
    for limit in LIMITS:
        if limit.hard and limit.kind is Kind.WHEEL and (result := evaluate(limit, point)) is not None:
            found[limit.name] = np.nan_to_num(np.broadcast_to(result.slack, (draws.lanes,)), nan=-1.0, posinf=1e3)
    return found


def margin_of(scenario: Scenario, draws: Draws, settings: Settings, held: Mapping[str, float] = NO_RESERVE) -> Margin:
    """Return the share of builds that keep the hard limits, and the reserves that the nominal build needs.

    held: reserves under which the settings were found.
    """
    confidence = scenario.limit_values.confidence
    done = throw_draws(draws, settings)
    slacks = hard_slacks(scenario, draws, done)
    resting = at_rest(scenario, draws, settings.count)
    broken_at_rest = {name: slack[1:] < -ROUNDING for name, slack in resting.items()}
    shares = {name: float(broken.mean()) for name, broken in broken_at_rest.items()}
    unkeepable = {name: share for name, share in shares.items() if share > 1 - confidence}
    mendable = np.ones(draws.lanes - 1, bool)
    for name in unkeepable:
        mendable &= ~broken_at_rest[name]
    kept = np.ones(draws.lanes - 1, bool)
    for slack, _ in slacks.values():
        kept &= slack[1:] >= -ROUNDING
    floors = {limit.name for limit in LIMITS if limit.floor}
    low = 1 - confidence
    with np.errstate(invalid="ignore"):
        values = {
            name: float(np.quantile(np.nan_to_num(value[1:], posinf=1e300), low if name in floors else confidence))
            for name, (_, value) in slacks.items()
        }
    reserve = _reserve({name: slack for name, (slack, _) in slacks.items()}, mendable, target(confidence), held)
    # The value of a lower bound's limit is above it, and so is no share of it.
    for name in reserve.keys() - floors:
        reserve[name] = _in_proportion(reserve[name], float(slacks[name][0][0]))
    for name, slack in resting.items():
        if name in reserve:
            reserve[name] = min(reserve[name], AT_REST * max(float(slack[0]), 0.0))
    leaves = np.broadcast_to(outlet_speed(draws.launcher, done.exit_speed), done.jammed.shape)[1:]
    jams = done.jammed[1:]
    return Margin(
        confidence=confidence, kept=float(kept.mean()), draws=draws.lanes - 1, jams=float(jams.mean()),
        stays=float((~jams & (leaves <= 0.0)).mean()), mean_exit=float(leaves.mean()),
        at_confidence=values, reserve=reserve, unkeepable=unkeepable,
    )  # fmt: skip


def enough(margin: Margin, share: float | None = None) -> bool:
    """Return whether a share of builds keeps the hard limits but those that builds cannot keep; None: see `target`."""
    asked = target(margin.confidence) if share is None else share
    return margin.kept >= asked - max(margin.unkeepable.values(), default=0.0)


def _reserve(
    slacks: Mapping[str, Floats], mendable: NDArray[np.bool_], share: float, held: Mapping[str, float]
) -> dict[str, float]:
    """Return the slack of each limit in the nominal build with which `share` of the builds keep all together [-].

    mendable: builds that can keep all limits, (draws,); held: reserves under which the settings were found.
    """
    shifts = {name: slack[1:][mendable] - slack[0] for name, slack in slacks.items()}
    if not shifts or not mendable.any():
        return {}
    used_up = {name for name, slack in slacks.items() if slack[0] <= held.get(name, 0.0) + TIGHT}

    def reserves(level: float) -> dict[str, float]:
        return {name: max(float(np.quantile(-shift, level)), 0.0) for name, shift in shifts.items()}

    def joint(level: float) -> float:
        kept = np.ones(int(mendable.sum()), bool)
        for name, needed in reserves(level).items():
            have = needed if name in used_up else max(needed, float(slacks[name][0]))
            kept &= shifts[name] + have >= -0.5 * ROUNDING
        return float(kept.mean())

    low, high = 0.5, 1.0
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (low, middle) if joint(middle) >= share else (middle, high)
    return reserves(high)


def _in_proportion(needed: float, slack: float) -> float:
    """Return the slack that the nominal build needs where `needed` is the shift [-] at settings of slack `slack` [-].

    A large shift shrinks with the value that it is a share of: at settings which use less of the limit it is less.
    """
    if needed <= max(slack, LARGE):
        return needed
    return needed / (1.0 - slack + needed)


def rows(done: Throw, chosen: NDArray[np.intp]) -> Throw:
    """Return the chosen samples of throws with one batch axis."""
    stages = Transit(**{name: getattr(done.stages, name)[chosen] for name in FIELDS})
    return Throw(stages=stages, exit_speed=done.exit_speed[chosen], spin=done.spin[chosen], jammed=done.jammed[chosen])


ROUGH = Options(tolerance=1e-4)
"""Integration of throws of draws."""
QUANTILE = 0.05
"""Quantile of exit speed that is maximised [-]."""
CHANCE = 0.95
"""Share of draws that must keep the limits [-]."""
CONFIDENCE = 0.95
"""Confidence of the lower bound on that share [-]."""
CHOSEN_ON = 100
"""Draws on which settings are chosen."""
JUDGED_ON = 400
"""Fresh draws on which they are evaluated."""
STEADIED_ON = 64
"""Draws on which the spread of exit speed is minimised."""
COMMON = np.linspace(0.7, 1.0, 25)
"""Factors on all wheel speeds that are tried [-]."""
OWN = np.array([0.96, 0.98, 0.99, 1.0, 1.01, 1.02])
"""Factors on the wheel speed of one stage that are tried [-]."""
PASSES = 2
"""Passes over the stages."""
SLACK = 1e-6
"""Room kept to the grip margin, for rounding [-]."""
NEAR = 0.1
"""Slack of the nominal design below which limits on drives and supply are evaluated on draws [-]."""
STEADY_EFFORT = Effort(16, 0.1, 1e-4, 1e-6, finish=True)
"""Effort for settings with the least spread, whose objective is smooth."""
PATTERNS = 48
"""Chains drawn for other starts."""
PLACES = 16
"""Speeds of each wheel that are tried in these."""
HALVINGS = 8
"""Halvings between two of these speeds."""
PROMISING = 3
"""Of these starts, those that are refined."""
OFFERED = 2
"""Designs with other parts that are refined for each stage count."""
STEADIER = "the steadiest settings"
"""Work that a stopped search leaves undone."""
START_EFFORT = Effort(8, 0.1, 1e-3, 1e-5)
"""Effort for the starts, of which the best is refined again."""
LESS_SPREAD = 0.02
"""Share by which more stages must reduce the spread to be chosen [-]."""


class Sample:
    """Drawn launchers, sample 0 the nominal one."""

    def __init__(self, scenario: Scenario, count: int, rng: np.random.Generator) -> None:
        drawn = draw(scenario, count, rng)
        self.scenario = scenario
        self.draws = Draws(values=drawn.values, launcher=flatten(drawn.launcher, (drawn.lanes,)), lanes=drawn.lanes)
        self.way = way_of(scenario.launcher, scenario.limit_values, scenario.goal.spin)

    def throw(self, lead: Floats, options: Options = ROUGH) -> Throw:
        """Throw all samples at leading wheel speeds [m/s], (candidates, stages); arrays (candidates, samples, ...).

        The other wheels run as the nominal launcher needs for the spin that is asked for.
        """
        speed, other = sides(self.way, self.scenario.launcher, lead, ROUGH)
        each = np.ones((self.draws.lanes, 1))
        second = None if other is None else other[:, None, :] * each
        return throw(self.draws.launcher, speed[:, None, :] * each, second, options=options)

    def leaves(self, done: Throw) -> Floats:
        """Return the speeds of throws behind the outlet [m/s], (candidates, samples)."""
        return outlet_speed(self.draws.launcher, done.exit_speed)

    def kept(self, done: Throw, near: OperatingPoint) -> Floats:
        """Return 1 for each throw that keeps the limits, else 0; those on drives only where `near` has little slack."""
        point = OperatingPoint(launcher=self.draws.launcher, limit_values=self.scenario.limit_values, throw=done)
        fine = ~done.jammed
        for limit in LIMITS:
            if limit.kind not in (Kind.THROW, Kind.STEADY):
                continue
            here = evaluate(limit, near) if limit.kind is Kind.STEADY else None
            if limit.kind is Kind.STEADY and (here is None or float(np.min(here.slack)) > NEAR):
                continue
            if (result := evaluate(limit, point)) is not None:
                fine = fine & (np.broadcast_to(result.slack, fine.shape) >= -1e-6)
        return fine.astype(np.float64)


def robust(row: BestDesign, rng: np.random.Generator) -> Robust | None:
    """Return robust settings for the stages of a plan; None where nothing is uncertain or there is no stage."""
    scenario, best = row.scenario, row.settings
    if best.count == 0 or not is_uncertain(scenario):
        return None
    from scipy.special import betaincinv

    sample, fresh = Sample(scenario, CHOSEN_ON, rng), Sample(scenario, JUDGED_ON, rng)
    start = best.lead
    lead = _pick(sample, best, COMMON[:, None] * start)
    for _ in range(PASSES):
        for k in range(best.count):
            tries = np.tile(lead, (OWN.size, 1))
            tries[:, k] = np.minimum(tries[:, k] * OWN, start[k])
            lead = _pick(sample, best, np.vstack([lead, tries]))
    nominal = _within_grip(scenario, lead, best)
    (low, share), (before, share_before) = (
        _quantile_and_share(fresh, best, speeds) for speeds in (nominal.lead, start)
    )
    count = round(share * JUDGED_ON)
    surely = 0.0 if count == 0 else float(betaincinv(count, JUDGED_ON - count + 1, 1 - CONFIDENCE))
    return Robust(
        settings=nominal, quantile=QUANTILE, low=low, low_before=before, kept=share, kept_at_least=surely,
        kept_before=share_before, cost=1 - nominal.exit_speed / best.exit_speed,
    )  # fmt: skip


def _within_grip(scenario: Scenario, lead: Floats, best: Settings) -> Settings:
    """Return settings at `lead` [m/s], slowed to the grip margin of each stage, which falls as earlier stages slow."""
    margin, launcher = scenario.limit_values.grip_margin, best.design.launcher
    found = settings_at(scenario, lead, launcher)
    for _ in range(lead.size if margin else 0):
        most = (1 - margin) * (1 - SLACK) * found.grip_limit
        if not (found.lead > most * (1 + SLACK)).any():
            break
        found = settings_at(scenario, np.fmin(found.lead, most), launcher)
    return found


def _pick(sample: Sample, best: Settings, candidates: Floats) -> Floats:
    """Return the candidate with the greatest low quantile of those that keep the limits often enough.

    Where none does, the one that keeps them most often.
    """
    done = sample.throw(candidates)
    low = np.quantile(done.exit_speed[:, 1:], QUANTILE, axis=1)
    share = sample.kept(done, best.design)[:, 1:].mean(axis=1)
    return np.asarray(candidates[int(np.argmax(np.where(share >= CHANCE, low, share - 1)))])


def _quantile_and_share(sample: Sample, best: Settings, lead: Floats) -> tuple[float, float]:
    """Return the low quantile of exit speed [m/s], and the share of draws that keep the limits."""
    done = sample.throw(lead[None])
    share = sample.kept(done, best.design)[0, 1:].mean()
    return float(np.quantile(done.exit_speed[0, 1:], QUANTILE)), float(share)


def steadiest(
    rows: Sequence[BestDesign], offered: Sequence[BestDesign], rng: np.random.Generator, clock: Clock
) -> tuple[BestDesign | None, float | None]:
    """Return the design with the least spread of exit speed at the speed that is asked for.

    Once time is up, of the settings with the least heat.

    Parameters
    ----------
    rows : sequence of BestDesign
        Best design of each stage count, by its heat.
    offered : sequence of BestDesign
        Designs with other parts of a catalogue.
    rng : Generator
    clock : Clock

    Returns
    -------
    BestDesign or None
        None where no design reaches the speed.
    float or None
        Standard deviation of exit speed over the asked speed [-] of the fewest stages with the least heat.
    """
    asked = rows[0].scenario.goal.asked
    fits, others = ([row for row in some if reaches(row)] for some in (rows, offered))
    if asked is None or not fits:
        return None, 0.0
    if not is_uncertain(rows[0].scenario) or fits[0].count == 0:
        return fits[0], 0.0
    state = rng.bit_generator.state
    best: BestDesign = fits[0]
    least = plain = np.inf

    def steadying(row: BestDesign) -> _Steadying:
        rng.bit_generator.state = state
        return _Steadying(row, rng)

    for row in fits:
        if row.solution is None:
            continue
        tried = [steadying(row)]
        if not np.isfinite(plain):
            least = plain = tried[0].spread(row.settings.lead)
        alike = [one for one in others if one.count == row.count and one.parts != row.parts]
        if alike:
            tried += clock.attempt(STEADIER, partial(_steadier, [steadying(one) for one in alike])) or []
        for one in tried:
            better, spread = one.row, one.spread(one.row.settings.lead)
            found = clock.attempt(STEADIER, one.solved)
            if found is not None and (other := one.spread(found.settings.lead)) < spread:
                better, spread = replace(better, solution=found, settings=found.settings), other
            # More stages must be clearly steadier.
            if spread < least * (1 - (LESS_SPREAD if better.count > best.count else 0)):
                best, least = better, spread
    return best, plain


def reaches(row: BestDesign) -> bool:
    """Return whether a design keeps every limit and reaches the speed that is asked for."""
    enough = least_speed(row.scenario)
    return enough is not None and row.feasible and row.settings.exit_speed >= enough


def spread_of(row: BestDesign, rng: np.random.Generator) -> float:
    """Return the standard deviation of the speed behind the outlet over the asked speed [-]."""
    if row.scenario.goal.asked is None or row.count == 0 or not is_uncertain(row.scenario):
        return 0.0
    return _Steadying(row, rng).spread(row.settings.lead)


def steadied(row: BestDesign, problem: Problem, rng: np.random.Generator) -> BestDesign:
    """Return a design with the steadiest settings near its own that keep the margins of another problem.

    row : with a speed that is asked for, and a solution.
    """
    solution = _Steadying(row, rng).refined(problem, problem.look_at(row.settings.lead[None]))
    return replace(row, solution=solution, settings=solution.settings)


def _steadier(tried: list[_Steadying]) -> list[_Steadying]:
    """Return the designs that promise most, by their settings before any is refined."""
    return sorted(tried, key=lambda one: -float(one.steadiness(one.starts).max()))[:OFFERED]


class _Steadying:
    """Search for the settings of a design with the least spread of the speed behind the outlet.

    It starts from those with the least heat and from others: the steadiest may be far from the coolest, with a fast
    first wheel and a last one that brakes.
    """

    def __init__(self, row: BestDesign, rng: np.random.Generator) -> None:
        asked = row.scenario.goal.asked
        assert asked is not None
        self.row, self.sample, self.asked = row, Sample(row.scenario, STEADIED_ON, rng), asked
        self._known: dict[bytes, float] = {}

    def spread(self, lead: Floats) -> float:
        """Return the standard deviation of the speed behind the outlet over the asked speed [-]."""
        sample = self.sample
        return float(sample.leaves(sample.throw(lead[None], JUDGED))[0, 1:].std() / self.asked)

    def steadiness(self, trial: Trial) -> Floats:
        """Return what is to be maximised, (samples,): 1 less the spread; below 0 where the projectile jams in some."""
        # A refinement asks for the same settings several times.
        rows = {lead.tobytes(): lead for lead in trial.lead}
        fresh = [key for key in rows if key not in self._known]
        if fresh:
            done = self.sample.throw(np.stack([rows[key] for key in fresh]), STEADIED)
            varied = self.sample.leaves(done)[:, 1:].std(axis=1) / self.asked
            value = np.where(done.jammed.any(axis=1), -10.0 * done.jammed.mean(axis=1), 1 - varied)
            self._known.update(zip(fresh, value.tolist(), strict=True))
        return np.array([self._known[lead.tobytes()] for lead in trial.lead])

    @property
    def solution(self) -> Solution:
        """The settings with the least heat."""
        assert self.row.solution is not None
        return self.row.solution

    @property
    def least(self) -> float:
        """Exit speed behind the last wheel that is kept [m/s]."""
        return least_speed(self.row.scenario, 0.5 * REACHED) or 0.0

    @cached_property
    def starts(self) -> Trial:
        """The settings with the least heat, and others that nearly keep the limits."""
        rng = np.random.default_rng([3, self.row.count])
        others = _others(self.solution.problem, self.least, rng)
        return self.solution.trial.join(others.take(np.flatnonzero(others.violation <= RESTORED)))

    def solved(self) -> Solution | None:
        """Return the steadiest settings; None where none keep the limits."""
        problem, least = self.solution.problem, self.least
        chosen = 1 + np.argsort(-self.steadiness(self.starts)[1:], kind="stable")[:PROMISING]
        starts = [self.starts.take([k]) for k in (0, *chosen.tolist())]
        tried = refine_all(problem, starts, self.steadiness, START_EFFORT, least)
        reaching = [one for one in tried if one.violation[0] <= 0.0 and one.exit_speed[0] >= least]
        start = max(reaching, key=lambda one: float(self.steadiness(one)[0]), default=starts[0])
        found = self.refined(problem, start)
        return found if found.settings.feasible else None

    def refined(self, problem: Problem, start: Trial) -> Solution:
        """Return the steadiest settings near `start`, a trial of one."""
        found = refine(problem, start, self.steadiness, STEADY_EFFORT, least=self.least)
        return Solution(problem, found, settings_at(self.row.scenario, found.lead[0], launcher_of(problem, found)))


def _others(problem: Problem, least: float, rng: np.random.Generator) -> Trial:
    """Return settings with the exit speed `least` [m/s], from all over the ranges; some may break limits.

    Chains are drawn, and one wheel after the other is set so that the projectile leaves at that speed.
    """
    count = problem.count
    low, high = np.log(0.5 * float(problem.launcher.feed.speed)), np.log(np.maximum(problem.tops, TINY))
    low = np.minimum(low, high - 0.1)
    chains = np.repeat(rng.uniform(low, high, (PATTERNS, count)), count, axis=0)
    wheel = np.tile(np.arange(count), PATTERNS)
    grid = low + np.linspace(0.0, 1.0, PLACES)[:, None] * (high - low)

    def short(chains: Floats) -> Floats:
        done = throw(problem.launcher, np.exp(chains), options=ROUGH)
        return np.where(done.jammed, np.nan, done.exit_speed / least - 1.0)

    tried = np.repeat(chains[:, None], PLACES, axis=1)
    tried[np.arange(len(chains)), :, wheel] = grid[:, wheel].T
    off = short(tried)
    at, place = np.nonzero(off[:, :-1] * off[:, 1:] < 0)
    ends = [tried[at, place], tried[at, place + 1]]
    offs = [off[at, place], off[at, place + 1]]
    for _ in range(HALVINGS):
        middle = (ends[0] + ends[1]) / 2
        there = short(middle)
        same = there * offs[0] > 0
        ends = [np.where(same[:, None], middle, ends[0]), np.where(same[:, None], ends[1], middle)]
        offs = [np.where(same, there, offs[0]), np.where(same, offs[1], there)]
    return problem.look_at(np.exp(np.where((offs[0] > 0)[:, None], ends[0], ends[1])))


SHARES = (0.5, 0.65, 0.8, 0.9, 1.0)
"""Shares of the settings' wheel speeds, slowest first [-]."""
FIRST_DRAWS = 400
"""Builds drawn: enough to tell a share of 0.95 from 0.93."""
MANY_JAMS = 0.05
"""Greatest share of builds in which the projectile may jam at a proposed setting [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstThrow:
    """One setting to begin with.

    share: of the settings' wheel speeds [-]; wheel_speed, wheel_speed_b: of sides A and B [m/s], shape (stages,);
    exit_speed: expected behind the outlet [m/s]; low, high: ends of its 95 % coverage interval over builds [m/s], None
    where nothing is uncertain.
    """

    share: float
    wheel_speed: Floats
    wheel_speed_b: Floats
    exit_speed: float
    low: float | None = None
    high: float | None = None


def first_throws(
    scenario: Scenario, settings: Settings, rng: np.random.Generator, shares: Sequence[float] = SHARES,
    *, judged: bool = False,
) -> tuple[FirstThrow, ...]:  # fmt: skip
    """Return settings to begin with, slowest first, each with the exit speed to expect.

    All wheels turn at the same share of their speeds. Left out are settings at which the projectile jams in more than
    `MANY_JAMS` of builds, and those that keep the hard limits in fewer builds than `limits.confidence` asks for.

    Parameters
    ----------
    scenario : Scenario
        What is uncertain. Draws have the parts as configured, so where the settings have others only the nominal
        launcher is checked.
    settings : Settings
        The settings that the last throw is to reach.
    rng : Generator
        Draws of what is uncertain.
    shares : sequence of float
        Shares of the settings' wheel speeds [-].
    judged : bool
        The settings are known to keep the hard limits in enough builds.

    Returns
    -------
    tuple of FirstThrow
        Empty where no setting may be thrown at.
    """
    launcher, lanes = settings.design.launcher, 1
    if is_uncertain(scenario) and launcher.template == scenario.launcher.template:
        drawn = draw(scenario, FIRST_DRAWS, rng)
        launcher, lanes = flatten(drawn.launcher, (drawn.lanes,)), drawn.lanes
    speed_a = np.outer(shares, settings.wheel_speed)
    speed_b = np.outer(shares, settings.beside)
    apart = None if settings.wheel_speed_b is None else speed_b
    fine = safe_settings(launcher, lanes, scenario.limit_values, speed_a, apart)
    fine |= judged & (np.asarray(shares) == 1.0)
    shape = (len(shares), lanes, settings.count)
    wide = [None if one is None else np.broadcast_to(one[:, None, :], shape) for one in (speed_a, apart)]
    done = throw(launcher, wide[0], wide[1], options=SURE)  # type: ignore[arg-type]
    leaves = np.broadcast_to(outlet_speed(launcher, done.exit_speed), shape[:2])
    jams = np.broadcast_to(done.jammed, shape[:2]) | ~(leaves > 0)
    found = []
    for k, share in enumerate(shares):
        if not fine[k] or jams[k, 0] or jams[k].mean() > MANY_JAMS:
            continue
        ends = (None, None) if lanes == 1 else np.quantile(leaves[k, 1:][~jams[k, 1:]], (0.025, 0.975)).tolist()
        found.append(
            FirstThrow(
                share=share, wheel_speed=speed_a[k], wheel_speed_b=speed_b[k], exit_speed=float(leaves[k, 0]),
                low=ends[0], high=ends[1],
            )
        )  # fmt: skip
    return tuple(found)

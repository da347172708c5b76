"""The ladder of stage counts, and the verdict: how many are worth building, and which measurement would settle it.

Every draw of a launcher is tuned anew for each stage count, as its maker would at the bench.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, OperatingPoint, asked_speed, broken_by, evaluate, exit_cap, speed_range
from stager.constraints.limit import JAMS, down
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import Aim, Goal, LimitValues
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.judge import ACTIVE
from stager.optimise.parts import BestDesign, chosen_values
from stager.optimise.records import Interval, Margin, Parts, Rung
from stager.optimise.spin import sides, turns, way_of
from stager.parallel import Executor
from stager.physics.barrel import coupled, run_up
from stager.physics.chain import Options, throw
from stager.physics.flight import outlet_speed
from stager.physics.grip_limit import STANDARD, Coupled, Refinement, TransitFunction, grip_limit
from stager.physics.records import batch_shape, flatten, take

TUNED = Options(tolerance=1e-4)
"""Integration of throws at tuned settings."""
LOOKED = Options(tolerance=3e-4, energies=False)
"""Integration of throws while a grip limit is sought."""
FIRST = (0.6, 1.55)
"""Range of a draw's grip limit over its expected value, in the first stage [-]."""
LATER = (0.75, 1.35)
"""The same in later stages [-]."""
LOOKS = Refinement(2, offsets=(-0.1, 0.0, 0.1), crossing_points=5)
"""Search of a draw's grip limit."""
PLACES = 9
"""Wheel speeds that it begins with."""
CHUNK = 200
"""Draws in a chunk of work. It does not depend on who works, so that answers do not either."""
TRIES = 6
"""Steps of the search for wheels slow enough to keep the limits."""
FARTHEST = 4.0
"""Logarithm of the factor by which a wheel is slowed at most [-]."""
LONGEST = 0.5
"""Logarithm of the factor by which a step beyond the nominal design slows a wheel at most [-]: slower ones may jam."""
BEYOND = 0.03
"""Logarithm of a wheel's speed over that of a design without limits above which it is faster on purpose [-]."""
INSIDE = 2e-4
"""Slack that this search aims at [-]."""
CLOSE = 3e-3
"""Slack at which it ends [-]."""
LEAST_EXIT = 1e-6
"""Least exit speed that gains are related to [m/s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TunedDraws:
    """Exit speed [m/s] of every draw with each stage count, shape (stages + 1, draws), and the draws."""

    draws: Draws
    exit_speed: Floats

    def gain(self, count: int, more: int = 1) -> Floats:
        """Return what `more` stages add to `count` of them, as a share, shape (draws,)."""
        below = np.maximum(self.exit_speed[count], LEAST_EXIT)
        return np.asarray(self.exit_speed[count + more] / below - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningStep:
    """A stage count to tune.

    scenario: with its parts; parts: empty where there was nothing to choose; lead: leading wheels of the nominal design
    [m/s], (stages,).
    """

    scenario: Scenario
    parts: tuple[Parts, ...]
    lead: Floats


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Work for one worker: some draws behind the nominal launcher, sample 0.

    steps: launcher, parts and nominal leading wheels [m/s] by stage count, from 1; margins: reserves of hard limits
    [-].
    """

    steps: tuple[tuple[Launcher, tuple[Parts, ...], Floats], ...]
    limit_values: LimitValues
    goal: Goal
    margins: Mapping[str, float]


def tune(
    steps: Sequence[TuningStep], count: int, rng: np.random.Generator, margins: Mapping[str, float],
    executor: Executor | None = None,
) -> Callable[[], TunedDraws | None]:  # fmt: skip
    """Begin to tune `count` draws with 1, 2, … stages; return a function that waits for the result.

    Every draw runs each stage at its own grip limit less the margin, or where it throws fastest. Where that breaks a
    limit, all wheels are slowed in the ratios by which the nominal design is slower than one without limits. Reserves
    of hard limits are kept as in the nominal design. The result is None where nothing is uncertain.
    """
    if not steps or not is_uncertain(steps[0].scenario):
        return lambda: None
    scenario, state = steps[0].scenario, rng.bit_generator.state
    drawn: dict[tuple[Parts, ...], Draws] = {}
    for step in steps:
        if step.parts not in drawn:
            rng.bit_generator.state = state
            found = draw(step.scenario, count, rng)
            machine = flatten(found.launcher, (found.lanes,))
            drawn[step.parts] = Draws(values=found.values, launcher=machine, lanes=found.lanes)
    first = drawn[steps[0].parts]
    chunks = []
    for part in np.array_split(np.arange(1, first.lanes), max(-(-count // CHUNK), 1)):
        rows = np.append(0, part)
        taken = {parts: take(one.launcher, rows) for parts, one in drawn.items()}
        chosen = tuple((taken[step.parts], step.parts, step.lead) for step in steps)
        chunks.append(_Chunk(chosen, scenario.limit_values, scenario.goal, margins))
    begun = (executor or Executor()).start_map(_tuned, chunks)
    return lambda: TunedDraws(draws=first, exit_speed=np.hstack(begun()))


def _tuned(chunk: _Chunk) -> Floats:
    """Return exit speeds [m/s] of the chunk's draws with 0, 1, 2 … stages, (stages + 1, draws)."""
    out: list[Floats] = []
    bench: _Bench | None = None
    before: tuple[Parts, ...] = ()
    for count, (launcher, parts, lead) in enumerate(chunk.steps, 1):
        if bench is None or parts[: count - 1] != before:
            bench = _Bench(launcher, chunk)
        bench.refit(launcher)
        before = parts
        while len(bench.wheels) < count:
            bench.add()
        if not out:
            out.append(bench.feed)
        reached = np.minimum(bench.kept(lead), bench.cap)
        # A stage may be left out.
        out.append(np.maximum(reached, out[-1]))
    return np.array(out)[:, 1:]


class _Bench:
    """Draws of a launcher, tuned stage by stage; sample 0 is the nominal one."""

    def __init__(self, launcher: Launcher, chunk: _Chunk) -> None:
        self.chunk = chunk
        self.lanes = (batch_shape(launcher) or (1,))[0]
        self.feed = np.broadcast_to(np.asarray(launcher.feed.speed, dtype=np.float64), (self.lanes,)).copy()
        self.speed, self.drift = self.feed.copy(), np.ones(self.lanes)
        self.spin = np.broadcast_to(np.asarray(launcher.feed.spin, dtype=np.float64), (self.lanes,)).copy()
        self.wheels: list[Floats] = []
        self.launcher = launcher
        self.refit(launcher)

    def refit(self, launcher: Launcher) -> None:
        """Continue with a launcher whose first stages are the same."""
        limit_values, chunk = self.chunk.limit_values, self.chunk
        if self.wheels and launcher is self.launcher:
            return
        self.launcher = launcher
        self.way: TransitFunction = way_of(take(launcher, np.zeros(1, int)), limit_values, chunk.goal.spin)
        cap, asked = exit_cap(launcher, limit_values, chunk.margins), asked_speed(launcher, chunk.goal)
        self.cap = np.broadcast_to(cap if asked is None else np.minimum(cap, asked), (self.lanes,))

    def add(self) -> None:
        """Tune one more stage without regard to limits on the whole throw."""
        index, launcher, limit_values = len(self.wheels), self.launcher, self.chunk.limit_values
        who = np.flatnonzero(self.speed > 0)
        wheel = np.zeros(self.lanes)
        if who.size:
            here, spin = take(launcher, who), self.spin[who]
            top = np.broadcast_to(speed_range(here, limit_values, index, self.chunk.margins).top, who.shape)
            way, speed = self.way, self.speed[who]
            if coupled(here, index, np.full(1, top.max())):
                before = tuple(one[who] for one in self.wheels)
                chain = Coupled(before, before)
                way, (speed, spin) = chain, chain.entry(here, TUNED)
            elif index:
                speed = run_up(here, index, speed, np.ones(1))
            middle, margin = take(here, np.zeros(1, int)), limit_values.grip_margin
            found = grip_limit(
                middle, index, speed[:1], spin[:1], top[:1], margin=margin, refinement=STANDARD,
                transit_function=take(way, np.zeros(1, int)),
            )  # fmt: skip
            centre = found.wheel_speed
            near = float(np.nan_to_num(centre[0], nan=float(top[0]))) * self.drift[who]
            found = grip_limit(
                here, index, speed, spin, top, margin=margin, near=near, around=LATER if index else FIRST,
                refinement=LOOKS, options=LOOKED, transit_function=way, near_points=PLACES,
            )  # fmt: skip
            at = np.where(np.isnan(found.wheel_speed), top, found.wheel_speed)
            self.drift[who] = at / at[0]
            kept = np.where(np.isnan(found.wheel_speed), top, (1 - margin) * at)
            chosen = np.minimum(kept, top) if margin else found.peak_speed
            done = way(here, index, speed, chosen, entry_spin=spin, options=TUNED)
            wheel[who], self.speed[who], self.spin[who] = chosen, done.exit_speed, done.exit_spin
        self.wheels.append(wheel)

    def kept(self, lead: Floats) -> Floats:
        """Return exit speeds [m/s] within all limits, (samples,), with wheels slowed as far as necessary."""
        free = np.stack(self.wheels, axis=-1)
        known = np.where(free[0] > 0, free[0], lead)
        free = np.where(free > 0, free, known)
        slower = np.minimum(np.log(np.maximum(lead, 1e-9) / known), 0.0)
        # Where the nominal design is not slower than the free one, all wheels are slowed alike.
        slower = slower if slower.min() < -1e-3 else np.full(slower.shape, -0.1)
        slack, speed = self._look(np.arange(self.lanes), free)
        reached = np.where(slack >= 0, speed, 0.0)
        who = np.flatnonzero(slack < 0)
        if who.size and np.log(np.maximum(lead, 1e-9) / known).max() > BEYOND:
            # Wheels of the nominal design slip on purpose; slower ones grip harder. The reserve is for such builds.
            room, found = self._look(who, np.tile(lead, (who.size, 1)), reserved=False)
            reached[who] = np.where(room >= 0, found, 0.0)
        low, broken = np.zeros(who.size), slack[who]
        high, spare, at = np.full(who.size, np.nan), np.full(who.size, np.nan), np.ones(who.size)
        was, longest, farthest = np.zeros(who.size, bool), LONGEST / -slower.min(), FARTHEST / -slower.min()
        for _ in range(TRIES if who.size else 0):
            slack, found = self._look(who, free[who] * np.exp(at[:, None] * slower))
            kept, rise = slack >= 0, np.maximum(slack - broken, 0.0)
            # Where none has been kept, on along the secant, at most to `longest` beyond.
            on = at + (INSIDE - slack) * (at - low) / np.where(rise > 0, rise, np.nan)
            on = np.clip(np.nan_to_num(on, nan=2.0), np.minimum(2.0 * at, at + longest), at + longest)
            reached[who] = np.where(kept, np.maximum(reached[who], found), reached[who])
            # Where one end stays twice, its slack counts half: false position alone would creep up from the other.
            broken = np.where(kept & was, broken / 2, broken)
            spare = np.where(~kept & ~was, spare / 2, spare)
            low, broken = np.where(kept, low, at), np.where(kept, broken, slack)
            high, spare = np.where(kept, at, high), np.where(kept, slack, spare)
            share = np.clip((INSIDE - broken) / np.where(spare > broken, spare - broken, np.nan), 0.03, 0.97)
            between = low + (high - low) * np.nan_to_num(share, nan=0.5)
            at = np.where(np.isnan(high), np.minimum(on, farthest), between)
            open_to = np.isnan(high) | (~kept | (slack > CLOSE))
            who, low, broken, high, spare, at, was = (
                part[open_to] for part in (who, low, broken, high, spare, at, kept)
            )
            if not who.size:
                break
        return reached

    def _look(self, who: NDArray[np.intp], lead: Floats, *, reserved: bool = True) -> tuple[Floats, Floats]:
        """Return the least slack of all limits [-], that on exit speed among them, and exit speed [m/s].

        An exit speed within CLOSE of the greatest one is that one: a little more wheel speed reaches it.

        reserved: less the reserve of hard limits.
        A chain whose last stage only brakes counts as one that breaks a limit: it is left out for one without.
        """
        chunk, here = self.chunk, take(self.launcher, who)
        done = throw(here, *sides(self.way, here, lead, TUNED), options=TUNED)
        speed = np.where(turns(self.way, done), done.exit_speed, 0.0)
        useful = np.flatnonzero(done.stages.exit_speed[:, -1] > done.stages.entry_speed[:, -1])
        if useful.size < who.size:
            slack = np.full(who.size, -1.0)
            if useful.size:
                slack[useful], speed[useful] = self._look(who[useful], lead[useful], reserved=reserved)
            return slack, speed
        point = OperatingPoint(launcher=here, limit_values=chunk.limit_values, options=TUNED, throw=done)
        cap = self.cap[who]
        least = np.minimum(cap / np.maximum(speed, LEAST_EXIT) - 1.0, 1.0)
        speed = np.where((speed > (1 - CLOSE) * cap) & (speed <= cap), cap, speed)
        for limit in LIMITS:
            if limit.kind not in (Kind.THROW, Kind.STEADY) or (result := evaluate(limit, point)) is None:
                continue
            margin = chunk.margins.get(limit.name, 0.0) if reserved else 0.0
            slack = np.broadcast_to(result.slack, speed.shape) - margin
            least = np.minimum(least, np.nan_to_num(slack, nan=-1.0) + 1e-9)
        return least, speed


COVERED = 0.025, 0.975
"""Quantiles of a 95 % coverage interval [-]."""
SURE = 0.9
"""Probability that settles whether a stage is worthwhile [-]."""
MAIN_CAUSE = 0.25
"""Least share of the doubt that one quantity must cause to be named as what to measure first [-]; about one in a
thousand of 40 draws of a quantity without effect shows as much."""
LEAST_JAMS = 0.005
"""Share of builds that jam from which on the verdict says so [-]."""


def rungs(rows: Sequence[BestDesign], tuned: TunedDraws | None = None) -> tuple[Rung, ...]:
    """Return a rung for each stage count: the best design with at most so many stages.

    rows: best design of each stage count; tuned: draws tuned on each, for intervals and probabilities.
    """
    return tuple(_rung(rows, number, tuned) for number in range(len(rows)))


def _rung(rows: Sequence[BestDesign], number: int, tuned: TunedDraws | None) -> Rung:
    row = rows[number]
    here, below = _best(rows[: number + 1]), _best(rows[:number]) if number else None
    stages = [row.scenario.launcher.stage(k) for k in range(number)]
    gain, probability = None, None
    if below is not None and below.settings.exit_speed > 0:
        drawn = None if tuned is None or not here.feasible else tuned.gain(number - 1)
        gain = _interval(here.settings.exit_speed / below.settings.exit_speed - 1, drawn)
        probability = None if drawn is None else float((drawn >= row.scenario.goal.worthwhile).mean())
    return Rung(
        stages=number,
        # Draws are tuned within the limits, so they tell nothing of settings that break them.
        exit_speed=_interval(
            here.settings.exit_speed, None if tuned is None or not here.feasible else tuned.exit_speed[number]
        ),
        gain=gain, probability_worthwhile=probability, length=row.settings.length,
        mass=_sum([stage.mass for stage in stages]), cost=_sum([stage.cost for stage in stages]),
        average_power=here.settings.average_power, kept=here.feasible,
        broken=() if row.feasible else _broken(row), parts=row.parts,
        design=chosen_values(row),
    )  # fmt: skip


OUTLET = "outlet_loss"
"""What forbids designs whose projectile stays in the outlet."""
RANGES = {JAMS: "the range that does not jam", OUTLET: "the range in which it leaves the outlet"}
"""Words on settings without a design, where it is no limit that forbids them."""


def _broken(row: BestDesign) -> tuple[str, ...]:
    """Return the limits that the best design of a row breaks; "jam" where it jams, OUTLET where it stays in that."""
    if bool(row.settings.throw.jammed):
        return (JAMS,)
    if not row.settings.leaves:
        return (OUTLET,)
    return tuple(result.name for result in row.settings.verdicts if not result.satisfied)


def _best(rows: Sequence[BestDesign]) -> BestDesign:
    """Return the fastest design that keeps every limit, as a stage may be left out; the last where none keeps them."""
    last = rows[-1]
    kept = [row for row in rows if row.feasible]
    best = max(kept, key=lambda row: row.settings.exit_speed, default=last)
    return last if last.feasible and last.settings.exit_speed >= best.settings.exit_speed else best


def _interval(nominal: float, drawn: Floats | None) -> Interval:
    if drawn is None:
        return Interval(nominal=nominal)
    low, high = (float(value) for value in np.quantile(drawn, COVERED))
    return Interval(nominal=nominal, low=low, high=high)


def _sum(values: Sequence[Number | None]) -> float | None:
    known = [float(value) for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None


_ORDINALS = ("no", "a first", "a second", "a third", "a fourth", "a fifth", "a sixth")


class Worth(Enum):
    """Whether one more stage is worth it."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """How many stages are worth building.

    sentence: the verdict; open_stage: the stage of which it is not clear yet; settled_by: key of the uncertain quantity
    that causes most of that doubt; share: its share of the variance of the gain [-].
    """

    stages: int
    sentence: str
    open_stage: int | None = None
    settled_by: str | None = None
    share: float | None = None


def worth(rung: Rung, worthwhile: float) -> Worth:
    """Return whether the last stage of a rung is worthwhile, with at least `SURE` probability either way."""
    if not rung.kept or (rung.gain is not None and rung.gain.nominal <= 0.0):
        return Worth.NO
    if rung.probability_worthwhile is None:
        return Worth.YES if rung.gain is not None and rung.gain.nominal >= worthwhile else Worth.NO
    if rung.probability_worthwhile >= SURE:
        return Worth.YES
    return Worth.NO if rung.probability_worthwhile <= 1 - SURE else Worth.CANNOT_TELL


def advise(
    ladder: Sequence[Rung], scenario: Scenario, chosen: int | None, tuned: TunedDraws | None = None,
    stops: Sequence[Sequence[str]] = (), *, stopped: bool = False,
) -> Advice:  # fmt: skip
    """Return how many stages are worth building.

    Stages are counted up while each, more likely than not, adds at least goal.worthwhile, or the next two add as much
    as two worthwhile ones. Where a speed is to be reached, it is the stages that reach it.

    Parameters
    ----------
    ladder : sequence of Rung
    scenario : Scenario
    chosen : int or None
        Stages of the plan, None where no design fits.
    tuned : TunedDraws, optional
        Draws tuned on each stage count.
    stops : sequence of sequences of str
        See `stops`.
    stopped : bool
        Whether the search was stopped before it got to more stages than the ladder has.
    """
    goal = scenario.goal
    if goal.asked is not None:
        leaves = [float(outlet_speed(scenario.launcher, rung.exit_speed.nominal)) for rung in ladder]
        return _reach(leaves, goal.asked, chosen, steady=goal.aim is Aim.STEADIEST)
    # Where the feed alone breaks a limit, the fewest stages that keep all of them are built whatever they add.
    count, open_stage = next((rung.stages for rung in ladder if rung.kept), 0), None
    while count + 1 < len(ladder):
        rung = ladder[count + 1]
        found = worth(rung, goal.worthwhile)
        if found is Worth.CANNOT_TELL and open_stage is None:
            open_stage = rung.stages
        if found is Worth.YES or (found is Worth.CANNOT_TELL and (rung.probability_worthwhile or 0.0) >= 0.5):
            count += 1
        elif _two_more(ladder, count, goal.worthwhile, tuned):
            count += 2
        else:
            break
    key, share = (None, None) if tuned is None or open_stage is None else _main_cause(tuned, open_stage)
    sentence = _sentence(ladder, count, goal.worthwhile, open_stage, stops[count] if stops else (), stopped=stopped)
    if key is not None and share is not None:
        sentence += f" Uncertain {key} causes about {100 * share:.0f} % of the doubt: measure it first."
    return Advice(stages=count, sentence=sentence, open_stage=open_stage, settled_by=key, share=share)


def _two_more(ladder: Sequence[Rung], count: int, worthwhile: float, tuned: TunedDraws | None) -> bool:
    """Whether two more stages, more likely than not, add at least as much as two worthwhile ones."""
    if count + 2 >= len(ladder) or not ladder[count + 2].kept:
        return False
    needed = (1 + worthwhile) ** 2 - 1
    if tuned is not None:
        return bool((tuned.gain(count, 2) >= needed).mean() >= 0.5)
    return _gain(ladder, count, count + 2) >= needed


def _gain(ladder: Sequence[Rung], fewer: int, more: int) -> float:
    below = ladder[fewer].exit_speed.nominal
    return ladder[more].exit_speed.nominal / below - 1 if below > 0 else 0.0


def stops(rows: Sequence[BestDesign]) -> tuple[tuple[str, ...], ...]:
    """Return the names of the limits that keep one more stage from adding more, by stage count 0, 1, 2 ….

    They are those that the best design with one more stage has used up or breaks; for the last count those on what is
    built that forbid a further stage.
    """
    last = rows[-1]
    count = len(rows)
    forbidden = broken_by(last.scenario.launcher, last.scenario.limit_values, count)
    return (*(_used_up(row) for row in rows[1:]), tuple(forbidden))


STAGE_LIMITS = frozenset(
    limit.name
    for limit in LIMITS
    if (limit.floor and limit.kind is Kind.THROW) or (limit.kind is Kind.WHEEL and limit.unit == "m")
)
"""Limits that each stage keeps by itself, whatever the others do."""


def _used_up(row: BestDesign) -> tuple[str, ...]:
    """Return the used-up limits that stages share; not those of each stage alone, nor those on what is built."""
    built = {limit.name for limit in LIMITS if limit.kind is Kind.DESIGN}
    reserve = {} if row.solution is None else row.solution.problem.margins
    tight = (
        result.name for result in row.settings.verdicts if float(result.slack) <= ACTIVE + reserve.get(result.name, 0.0)
    )
    return tuple(name for name in tight if name not in built | STAGE_LIMITS)


def _main_cause(tuned: TunedDraws, stage: int) -> tuple[str | None, float | None]:
    """Return the uncertain quantity that causes most of the doubt about the gain of `stage`, and what share of it.

    The share is the squared rank correlation; None where it is less than MAIN_CAUSE.
    """
    gain = _ranks(tuned.gain(stage - 1))
    drawn = {key: values[1:] for key, values in tuned.draws.values.items() if np.ptp(values[1:]) > 0}
    shares = {key: float(np.corrcoef(_ranks(values), gain)[0, 1] ** 2) for key, values in drawn.items()}
    key = max(shares, key=lambda name: shares[name], default=None)
    return (None, None) if key is None or shares[key] < MAIN_CAUSE else (key, shares[key])


def _ranks(values: Floats) -> NDArray[np.intp]:
    return np.argsort(np.argsort(values, kind="stable"), kind="stable")


def _reach(leaves: Sequence[float], asked: float, chosen: int | None, *, steady: bool) -> Advice:
    """Return the advice for an asked speed; leaves: speed behind the outlet by stage count, from 0 [m/s]."""
    if chosen is None:
        best = int(np.argmax(leaves))
        come = "comes" if best == 1 else "come"
        return Advice(stages=best, sentence=f"{_plural(best)} {come} nearest, at {leaves[best]:.4g} m/s.")
    if steady:
        return Advice(stages=chosen, sentence=f"Build {_plural(chosen)} for the steadiest {asked:.4g} m/s.")
    fewer = "" if chosen == 0 else f"; {_plural(chosen - 1)} would leave at {down(leaves[chosen - 1])} m/s"
    return Advice(stages=chosen, sentence=f"Build {_plural(chosen)} for {asked:.4g} m/s{fewer}.")


def _sentence(
    ladder: Sequence[Rung], count: int, worthwhile: float, open_stage: int | None, stopped_by: Sequence[str],
    *, stopped: bool,
) -> str:  # fmt: skip
    build = f"Build {_plural(count)}" if count else "Build no stage"
    parts = []
    if count >= 2 and (gain := ladder[count].gain) is not None:
        parts.append(f"{_ordinal(count)} adds {_percent(gain.nominal)}{_chance(ladder[count], open_stage)}")
    if count + 1 < len(ladder) and ladder[count + 1].broken and not _adds(ladder, count + 1):
        parts.append(f"no setting with {_plural(count + 1)} was found within {_limits(ladder[count + 1].broken)}")
    elif count + 1 < len(ladder) and (gain := ladder[count + 1].gain) is not None:
        more, rung = max(gain.nominal, 0.0), ladder[count + 1]
        enough = f"the {100 * worthwhile:.3g} % that you call worthwhile"
        if more < worthwhile:
            shown = round(100 * more, 1)
            # Rounded down where it would not read as less.
            shown = shown if shown < 100 * worthwhile else np.floor(1000 * more) / 10
            short = f"{shown:.1f} %, less than {enough}{_chance(rung, open_stage)}"
        else:
            chance = 100 * (rung.probability_worthwhile or 0.0)
            short = f"{100 * more:.1f} %, but only {chance:.0f} of 100 possible builds gain {enough}"
        parts.append(f"{_ordinal(count + 1)} would add {short}{_with(stopped_by)}")
        if count + 2 < len(ladder) and _gain(ladder, count, count + 2) > 2 * max(more, worthwhile / 2):
            parts.append(f"two more would add {_percent(_gain(ladder, count, count + 2))}")
    elif stopped:
        parts.append(f"the search was stopped before it got to {_plural(count + 1)}")
    elif stopped_by:
        parts.append(_no_more(stopped_by))
    elif count:
        parts.append(f"no design with {_plural(count + 1)} was found within the limits")
    return f"{build}: {'; '.join(parts)}." if parts else f"{build}."


def _adds(ladder: Sequence[Rung], count: int) -> bool:
    gain = ladder[count].gain
    return gain is not None and gain.nominal > 0


def _limits(broken: Sequence[str]) -> str:
    for name in broken:
        if name in RANGES:
            return RANGES[name]
    return f"the {'limit' if len(broken) == 1 else 'limits'} on {_listed(broken)}"


def _percent(share: float) -> str:
    """Return a gain as text: per cent, from 200 % on as a multiple."""
    return f"{100 * share:.0f} %" if share < 2 else f"{1 + share:.2g} times the speed"


def margin_sentence(margin: Margin | None, *, built: bool = True) -> str:
    """Return a sentence on builds that break a limit at any wheel speed, or whose projectile does not get out; or "".

    built: whether the margin is that of stages that are built, which alone can jam
    """
    if margin is None:
        return ""
    parts = [
        f"{_of_100(share)} break the limit on {name.replace('_', ' ')} at any wheel speed: change the design first"
        for name, share in margin.unkeepable.items()
    ]
    if built and margin.jams >= LEAST_JAMS:
        parts.append(f"the projectile jams in {_of_100(margin.jams)}")
    if built and margin.stays >= LEAST_JAMS:
        parts.append(f"the projectile stays in the outlet in {_of_100(margin.stays)}")
    text = "; ".join(parts)
    return f" {text[0].upper()}{text[1:]}." if text else ""


def _of_100(share: float) -> str:
    return f"{max(round(100 * share), 1)} of 100 builds"


def _chance(rung: Rung, open_stage: int | None) -> str:
    """Return an addition for the stage of which it is not clear yet whether it pays."""
    if rung.stages != open_stage or rung.probability_worthwhile is None:
        return ""
    return f", but that is not clear yet: {100 * rung.probability_worthwhile:.0f} of 100 possible builds gain enough"


def _with(names: Sequence[str]) -> str:
    """Return an addition on the limits that keep a stage from adding more."""
    return f", with {_listed(names)} at {'its limit' if len(names) == 1 else 'their limits'}" if names else ""


def _no_more(names: Sequence[str]) -> str:
    few = len(names) == 1
    return f"the {'limit' if few else 'limits'} on {_listed(names)} {'allows' if few else 'allow'} no more"


def _listed(names: Sequence[str]) -> str:
    words = [name.replace("_", " ") for name in names]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _ordinal(count: int) -> str:
    return _ORDINALS[count] if count < len(_ORDINALS) else f"stage {count}"


def _plural(count: int) -> str:
    return "1 stage" if count == 1 else f"{count} stages"

"""The ladder of stage counts, and the verdict: how many are worth building, and which measurement would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, broken_by
from stager.model.arrays import Floats, Number
from stager.model.requirements import Aim, Goal
from stager.optimise.judge import ACTIVE
from stager.optimise.parts import BestDesign, chosen_values
from stager.optimise.records import Interval, Margin, Rung
from stager.optimise.tune import TunedDraws

COVERED = 0.025, 0.975
"""Quantiles of a 95 % coverage interval [-]."""
SURE = 0.9
"""Probability that settles whether a stage is worthwhile [-]."""
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
        drawn = None if tuned is None else tuned.gain(number - 1)
        gain = _interval(here.settings.exit_speed / below.settings.exit_speed - 1, drawn)
        probability = None if drawn is None else float((drawn >= row.scenario.goal.worthwhile).mean())
    return Rung(
        stages=number,
        exit_speed=_interval(here.settings.exit_speed, None if tuned is None else tuned.exit_speed[number]),
        gain=gain, probability_worthwhile=probability, length=row.settings.length,
        mass=_sum([stage.mass for stage in stages]), cost=_sum([stage.cost for stage in stages]),
        average_power=here.settings.average_power, kept=here.feasible,
        broken=() if row.feasible else _broken(row), parts=row.parts,
        design=chosen_values(row),
    )  # fmt: skip


def _broken(row: BestDesign) -> tuple[str, ...]:
    """Return the limits that the best design of a row breaks; "jam" where the projectile jams."""
    if bool(row.settings.throw.jammed):
        return ("jam",)
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
    if not rung.kept:
        return Worth.NO
    if rung.probability_worthwhile is None:
        return Worth.YES if rung.gain is not None and rung.gain.nominal >= worthwhile else Worth.NO
    if rung.probability_worthwhile >= SURE:
        return Worth.YES
    return Worth.NO if rung.probability_worthwhile <= 1 - SURE else Worth.CANNOT_TELL


def advise(
    ladder: Sequence[Rung], goal: Goal, chosen: int | None, tuned: TunedDraws | None = None,
    stops: Sequence[Sequence[str]] = (),
) -> Advice:  # fmt: skip
    """Return how many stages are worth building.

    Stages are counted up while each, more likely than not, adds at least goal.worthwhile, or the next two add as much
    as two worthwhile ones. Where a speed is to be reached, it is the stages that reach it.

    Parameters
    ----------
    ladder : sequence of Rung
    goal : Goal
    chosen : int or None
        Stages of the plan, None where no design fits.
    tuned : TunedDraws, optional
        Draws tuned on each stage count.
    stops : sequence of sequences of str
        See `stops`.
    """
    if goal.asked is not None:
        return _reach(ladder, goal.asked, chosen, steady=goal.aim is Aim.STEADIEST)
    count, open_stage = 0, None
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
    sentence = _sentence(ladder, count, goal.worthwhile, open_stage, stops[count] if stops else ())
    if key is not None and share is not None:
        sentence += f" Uncertain {key} causes {_share(share)} of the doubt: measure it first."
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
        result.name
        for result in row.settings.verdicts
        if float(result.slack) <= ACTIVE + reserve.get(result.name, 0.0)
    )
    return tuple(name for name in tight if name not in built | STAGE_LIMITS)


def _main_cause(tuned: TunedDraws, stage: int) -> tuple[str | None, float | None]:
    """Return the uncertain quantity with the largest squared rank correlation with the gain of `stage`, and that."""
    gain = _ranks(tuned.gain(stage - 1))
    drawn = {key: values[1:] for key, values in tuned.draws.values.items() if np.ptp(values[1:]) > 0}
    shares = {key: float(np.corrcoef(_ranks(values), gain)[0, 1] ** 2) for key, values in drawn.items()}
    if not shares:
        return None, None
    key = max(shares, key=lambda name: shares[name])
    return key, shares[key]


def _ranks(values: Floats) -> NDArray[np.intp]:
    return np.argsort(np.argsort(values, kind="stable"), kind="stable")


def _reach(ladder: Sequence[Rung], asked: float, chosen: int | None, *, steady: bool) -> Advice:
    if chosen is None:
        best = max(ladder, key=lambda rung: rung.exit_speed.nominal)
        come = "comes" if best.stages == 1 else "come"
        return Advice(
            stages=best.stages,
            sentence=f"{_plural(best.stages)} {come} nearest, at {best.exit_speed.nominal:.4g} m/s.",
        )  # fmt: skip
    if steady:
        return Advice(stages=chosen, sentence=f"Build {_plural(chosen)} for the steadiest {asked:.4g} m/s.")
    fewer = (
        "" if chosen == 0 else f"; {_plural(chosen - 1)} would leave at {ladder[chosen - 1].exit_speed.nominal:.3g} m/s"
    )
    return Advice(stages=chosen, sentence=f"Build {_plural(chosen)} for {asked:.4g} m/s{fewer}.")


def _sentence(
    ladder: Sequence[Rung], count: int, worthwhile: float, open_stage: int | None, stopped_by: Sequence[str]
) -> str:
    if len(ladder) == 1:
        return "No stage gets the projectile through within these limits."
    build = f"Build {_plural(count)}" if count else "Build no stage"
    parts = []
    if count >= 2 and (gain := ladder[count].gain) is not None:
        parts.append(f"{_ordinal(count)} adds {_percent(gain.nominal)}{_chance(ladder[count], open_stage)}")
    if count + 1 < len(ladder) and ladder[count + 1].broken and not _adds(ladder, count + 1):
        parts.append(f"no setting with {_plural(count + 1)} was found within {_limits(ladder[count + 1].broken)}")
    elif count + 1 < len(ladder) and (gain := ladder[count + 1].gain) is not None:
        more = max(gain.nominal, 0.0)
        why = f"{_chance(ladder[count + 1], open_stage)}{_with(stopped_by)}"
        parts.append(f"{_ordinal(count + 1)} would add {100 * more:.1f} %, less than the {100 * worthwhile:.3g} % "
                     f"that you call worthwhile{why}")  # fmt: skip
        if count + 2 < len(ladder) and _gain(ladder, count, count + 2) > 2 * max(more, worthwhile / 2):
            parts.append(f"two more would add {_percent(_gain(ladder, count, count + 2))}")
    elif count and stopped_by:
        parts.append(_no_more(stopped_by))
    elif count:
        parts.append(f"no design with {_plural(count + 1)} was found within the limits")
    return f"{build}: {'; '.join(parts)}." if parts else f"{build}."


def _adds(ladder: Sequence[Rung], count: int) -> bool:
    gain = ladder[count].gain
    return gain is not None and gain.nominal > 0


def _limits(broken: Sequence[str]) -> str:
    if broken == ("jam",):
        return "the range that does not jam"
    return f"the {'limit' if len(broken) == 1 else 'limits'} on {_listed(broken)}"


def _percent(share: float) -> str:
    """Return a gain as text: per cent, from 200 % on as a multiple."""
    return f"{100 * share:.0f} %" if share < 2 else f"{1 + share:.2g} times the speed"


def margin_sentence(margin: Margin | None) -> str:
    """Return a sentence on builds that break a limit at any wheel speed, or jam; "" where there are none."""
    if margin is None:
        return ""
    parts = [
        f"{_of_100(share)} break the limit on {name.replace('_', ' ')} at any wheel speed: change the design first"
        for name, share in margin.unkeepable.items()
    ]
    if margin.jams >= LEAST_JAMS:
        parts.append(f"the projectile jams in {_of_100(margin.jams)}")
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


def _share(share: float) -> str:
    return f"about {100 * share:.0f} %"


def _ordinal(count: int) -> str:
    return _ORDINALS[count] if count < len(_ORDINALS) else f"stage {count}"


def _plural(count: int) -> str:
    return "1 stage" if count == 1 else f"{count} stages"

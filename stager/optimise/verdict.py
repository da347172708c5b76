"""How many stages are worth it, in plain words; and what would tell where that is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.requirements import Aim, Goal
from stager.optimise.odds import Odds
from stager.optimise.records import Rung

SURE = 0.9
_ORDINALS = ("no", "a first", "a second", "a third", "a fourth", "a fifth", "a sixth")


class Worth(Enum):
    """Whether one more stage is worth it."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """stages that are worth building; open_stage: the one that cannot be told yet; settled_by: the quantity whose
    measurement would tell most, and the share of the gain's spread that hangs on it [-]; sentence."""

    stages: int
    sentence: str
    open_stage: int | None = None
    settled_by: str | None = None
    share: float | None = None


def worth(rung: Rung, worthwhile: float) -> Worth:
    """Whether this rung's last stage adds what is worthwhile, with at least 90 % probability either way."""
    if not rung.kept:
        return Worth.NO
    if rung.probability_worthwhile is None:
        return Worth.YES if rung.gain is not None and rung.gain.nominal >= worthwhile else Worth.NO
    if rung.probability_worthwhile >= SURE:
        return Worth.YES
    return Worth.NO if rung.probability_worthwhile <= 1 - SURE else Worth.CANNOT_TELL


def advise(
    ladder: Sequence[Rung], goal: Goal, chosen: int | None, chances: Odds | None = None,
    stops: Sequence[Sequence[str]] = (),
) -> Advice:  # fmt: skip
    """Up while each stage more likely than not adds at least what is worthwhile; where a speed is to be reached, the
    stages that reach it. chosen: stages of the plan, None where no design fits; stops: see `stops`."""
    if goal.aim is not Aim.FASTEST and goal.exit_speed is not None:
        return _reach(ladder, goal.exit_speed, chosen, steady=goal.aim is Aim.STEADIEST)
    count, open_stage = 0, None
    for rung in ladder[1:]:
        if not rung.kept:
            continue
        found = worth(rung, goal.worthwhile)
        if found is Worth.CANNOT_TELL and open_stage is None:
            open_stage = rung.stages
        if found is Worth.NO or (found is Worth.CANNOT_TELL and (rung.probability_worthwhile or 0.0) < 0.5):
            break
        count = rung.stages
    key, share = (None, None) if chances is None or open_stage is None else _deciding(chances, open_stage)
    sentence = _sentence(ladder, count, goal.worthwhile, open_stage, stops[count] if stops else ())
    if key is not None and share is not None:
        sentence += f" {_share(share)} of that hangs on {key}: measure it first."
    return Advice(stages=count, sentence=sentence, open_stage=open_stage, settled_by=key, share=share)


def _deciding(chances: Odds, stage: int) -> tuple[str | None, float | None]:
    """The drawn quantity that goes with most of the spread of what `stage` adds: the largest squared rank
    correlation."""
    gain = _ranks(chances.gain[stage - 1])
    drawn = {key: values[1:] for key, values in chances.draws.values.items() if np.ptp(values[1:]) > 0}
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
        return Advice(
            stages=best.stages, sentence=f"{_plural(best.stages)} come nearest, at {best.exit_speed.nominal:.4g} m/s."
        )
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
        parts.append(f"{_ordinal(count)} adds {100 * gain.nominal:.0f} %{_chance(ladder[count], open_stage)}")
    if count + 1 < len(ladder) and ladder[count + 1].kept and (gain := ladder[count + 1].gain) is not None:
        more = max(gain.nominal, 0.0)
        why = f"{_chance(ladder[count + 1], open_stage)}{_with(stopped_by)}"
        parts.append(f"{_ordinal(count + 1)} would add {100 * more:.1f} %, less than the {100 * worthwhile:.3g} % "
                     f"that you call worthwhile{why}")  # fmt: skip
    elif count and stopped_by:
        parts.append(_no_more(stopped_by))
    elif count:
        parts.append(f"no design with {_plural(count + 1)} was found within the limits")
    return f"{build}: {'; '.join(parts)}." if parts else f"{build}."


def _chance(rung: Rung, open_stage: int | None) -> str:
    """Said where it cannot be told yet."""
    if rung.stages != open_stage or rung.probability_worthwhile is None:
        return ""
    return f", but one cannot tell yet: it pays in {100 * rung.probability_worthwhile:.0f} % of builds"


def _with(names: Sequence[str]) -> str:
    """What keeps a stage from adding more."""
    return f", with {_listed(names)} at {'its limit' if len(names) == 1 else 'their limits'}" if names else ""


def _no_more(names: Sequence[str]) -> str:
    few = len(names) == 1
    return f"the {'limit' if few else 'limits'} on {_listed(names)} {'allows' if few else 'allow'} no more"


def _listed(names: Sequence[str]) -> str:
    words = [name.replace("_", " ") for name in names]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _share(share: float) -> str:
    return f"About {100 * share:.0f} %"


def _ordinal(count: int) -> str:
    return _ORDINALS[count] if count < len(_ORDINALS) else f"stage {count}"


def _plural(count: int) -> str:
    return "1 stage" if count == 1 else f"{count} stages"

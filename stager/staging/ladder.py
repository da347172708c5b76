"""The ladder of stage counts, and what it recommends."""

from __future__ import annotations

from collections.abc import Sequence

from stager.hardware.arrays import Number
from stager.hardware.scenario import Scenario
from stager.hardware.wish import Aim, Goal
from stager.staging.records import Interval, Rung, Settings

_ORDINALS = ("no", "a first", "a second", "a third", "a fourth", "a fifth", "a sixth")


def rungs(scenario: Scenario, climbed: Sequence[Settings]) -> tuple[Rung, ...]:
    """One rung a stage count, nominal."""
    out = []
    for below, here in zip([None, *climbed[:-1]], climbed, strict=True):
        stages = [scenario.launcher.stage(k) for k in range(here.count)]
        gain = None
        if below is not None and below.exit_speed > 0:
            gain = Interval(nominal=here.exit_speed / below.exit_speed - 1)
        out.append(
            Rung(
                stages=here.count,
                exit_speed=Interval(nominal=here.exit_speed),
                gain=gain,
                length=here.length,
                mass=_sum([stage.mass for stage in stages]),
                cost=_sum([stage.cost for stage in stages]),
            )
        )
    return tuple(out)


def recommend(ladder: Sequence[Rung], goal: Goal, chosen: int | None) -> tuple[int, str]:
    """How many stages are worth it, and a plain sentence.

    Up while each adds at least what is worthwhile; where a speed is to be reached, the stages that reach it.
    chosen: stages of the plan, None where no design fits.
    """
    worthwhile = goal.worthwhile
    if goal.aim is not Aim.FASTEST and goal.exit_speed is not None:
        return _reach(ladder, goal.exit_speed, chosen)
    count = 0
    for rung in ladder[1:]:
        if rung.gain is None or rung.gain.nominal < worthwhile:
            break
        count = rung.stages
    return count, _sentence(ladder, count, worthwhile)


def _reach(ladder: Sequence[Rung], asked: float, chosen: int | None) -> tuple[int, str]:
    if chosen is None:
        fastest = max(ladder, key=lambda rung: rung.exit_speed.nominal)
        return fastest.stages, f"{_plural(fastest.stages)} come nearest, at {fastest.exit_speed.nominal:.4g} m/s."
    fewer = (
        "" if chosen == 0 else f"; {_plural(chosen - 1)} would leave at {ladder[chosen - 1].exit_speed.nominal:.3g} m/s"
    )
    return chosen, f"Build {_plural(chosen)} for {asked:.4g} m/s{fewer}."


def _sentence(ladder: Sequence[Rung], count: int, worthwhile: float) -> str:
    if len(ladder) == 1:
        return "No stage gets the projectile through within these limits."
    build = f"Build {_plural(count)}" if count else "Build no stage"
    parts = []
    if count >= 2 and (gain := ladder[count].gain) is not None:
        parts.append(f"{_ordinal(count)} adds {100 * gain.nominal:.0f} %")
    if count + 1 < len(ladder) and (gain := ladder[count + 1].gain) is not None:
        parts.append(f"{_ordinal(count + 1)} would add {100 * gain.nominal:.1f} %, less than the "
                     f"{100 * worthwhile:.3g} % that you call worthwhile")  # fmt: skip
    elif count:
        parts.append("more are not allowed, or could not add to what the limits let out")
    return f"{build}: {'; '.join(parts)}." if parts else f"{build}."


def _ordinal(count: int) -> str:
    return _ORDINALS[count] if count < len(_ORDINALS) else f"stage {count}"


def _plural(count: int) -> str:
    return "1 stage" if count == 1 else f"{count} stages"


def _sum(values: Sequence[Number | None]) -> float | None:
    known = [float(value) for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None

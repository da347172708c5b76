"""The ladder of stage counts, and what it recommends."""

from __future__ import annotations

from collections.abc import Sequence

from stager.hardware.scenario import Scenario
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


def recommend(ladder: Sequence[Rung], worthwhile: float) -> tuple[int, str]:
    """How many stages are worth it: up while each adds at least `worthwhile` [-]; and a plain sentence."""
    count = 0
    for rung in ladder[1:]:
        if rung.gain is None or rung.gain.nominal < worthwhile:
            break
        count = rung.stages
    return count, _sentence(ladder, count, worthwhile)


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
        parts.append("more do not fit the limits")
    return f"{build}: {'; '.join(parts)}." if parts else f"{build}."


def _ordinal(count: int) -> str:
    return _ORDINALS[count] if count < len(_ORDINALS) else f"stage {count}"


def _plural(count: int) -> str:
    return "1 stage" if count == 1 else f"{count} stages"


def _sum(values: Sequence[object]) -> float | None:
    return None if any(value is None for value in values) else float(sum(values, start=0.0))  # type: ignore[call-overload]

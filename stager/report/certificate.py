"""What no setting exceeds, in words and as document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stager.bounds import Bound
from stager.optimise.judge import REACHED as ENOUGH
from stager.optimise.records import Plan, Rung
from stager.report import catalogue
from stager.report.digits import percent, plural, speed

BEATEN, REACHED, LOOSE, SHORT = 2e-6, 5e-5, 0.1, 2e-3
"""Gaps [-]: more than limits may be overstepped by rounding; too small to speak of; too large to tell much; so little
short of what is asked for that it need not be a stage's own doing."""


def summary(plan: Plan) -> dict[str, Any]:
    """The bound as the document has it; `bound_by_stages_m_s` counts from no stage."""
    known, fastest = plan.bound, plan.best if plan.fastest is None else plan.fastest
    return {
        "bound_m_s": None if known is None else known.speed,
        "gap_fraction": None if known is None or fastest is None else known.speed / fastest.exit_speed - 1,
        "certificate": None
        if known is None
        else {
            "bound_by_stages_m_s": list(known.speeds),
            "missing": known.missing or None,
            "evidence": known.evidence or None,
            "left_out": sorted(name.replace("_", " ") for name in known.left_out),
        },
    }


def sentences(plan: Plan) -> list[str]:
    """What is proven, how near the plan comes to it, and what is not."""
    known, best = plan.bound, plan.best
    if known is None:
        return []
    asked = None if best is None else known.asked
    # The bound is one on the fastest design; a cap alone is none.
    fastest = best if plan.fastest is None else plan.fastest
    bare = known.missing and (fastest is None or known.speed > fastest.exit_speed * (1 + REACHED))
    reached = None if fastest is None or asked is not None else fastest.exit_speed
    said = [] if bare else [nearness(known.speed, reached)]
    if plan.fastest is not None and plan.fastest is not plan.best:
        stages = plural(plan.fastest.count, "stage")
        said.insert(0, f"Fastest within the limits: {stages}, {speed(plan.fastest.exit_speed)} m/s.")
    if best is not None and asked is not None and not reaches(plan.ladder[: best.count], asked):
        said.append(fewest(known, asked, best.count))
    if plan.catalogue is not None:
        said.append(catalogue.proviso(plan.catalogue))
    if bare:
        said.append(f"There is no upper bound for {known.missing} yet: another setting may be faster.")
    names = [name.replace("_", " ") for name in sorted(known.left_out & plan.binding)]
    if names and not known.missing:
        said.append(f"The bound leaves out {', '.join(names)}: the plan may be nearer to the best than that.")
    return [" ".join(part for part in said if part)]


def details(plan: Plan) -> list[str]:
    """Say how far the bound is proven."""
    if plan.bound is None or not plan.bound.evidence:
        return []
    return [f"The bound was checked closely, not proven at every entry speed: it rests on {plan.bound.evidence}."]


def nearness(top: float, reached: float | None) -> str:
    """How near a plan that throws at `reached` [m/s] comes to the bound `top` [m/s]; None: the bound alone."""
    none_faster = f"No settings within the limits exceed {speed(top)} m/s"
    if reached is None:
        return f"{none_faster}."
    gap = top / reached - 1
    if gap < -BEATEN:
        return f"This plan beats the {speed(top)} m/s that nothing should exceed: the bound is wrong. Please report it."
    if gap < REACHED:
        return f"{none_faster}; the fastest reaches that."
    if gap < LOOSE:
        return f"{none_faster}, {percent(gap, 2)} more."
    return f"{none_faster}; the fastest reaches {percent(reached / top, 0)} of that, so the bound tells little."


def reaches(ladder: Sequence[Rung], asked: float) -> bool:
    """Whether a rung does what is asked for [m/s]: the steadiest plan may take more stages than that needs."""
    return any(rung.kept and rung.exit_speed.nominal >= asked * (1 - ENOUGH) for rung in ladder)


def fewest(known: Bound, asked: float, count: int) -> str:
    """Whether fewer stages could reach what is asked for [m/s], where `count` do."""
    if count == 0:
        return ""
    below = known.speeds[:count]
    if len(below) < count or max(below) >= asked:
        return "Whether fewer stages could do is not proven."
    fewer, most = plural(count - 1, "stage"), max(below)
    # A bound is brought down until it is below what is asked for, and then no further.
    if most > asked * (1 - SHORT):
        return f"Fewer stages cannot do: {fewer} cannot reach {speed(asked)} m/s."
    return f"Fewer stages cannot do: {fewer} can reach at most {speed(most)} m/s."

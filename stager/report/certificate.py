"""What no setting exceeds, in words and as document."""

from __future__ import annotations

from typing import Any

from stager.report.digits import percent, speed
from stager.staging.certificate import LEFT_OUT
from stager.staging.records import Plan

BEATEN = 2e-6
"""More than limits may be overstepped by rounding [-]."""


def summary(plan: Plan) -> dict[str, Any]:
    """The bound as the document has it; `bound_by_stages_m_s` counts from no stage."""
    known = plan.bound
    top = None if known is None else known.speed
    return {
        "bound_m_s": top,
        "gap_fraction": None if top is None or plan.best is None else top / plan.best.exit_speed - 1,
        "certificate": None
        if known is None
        else {
            "bound_by_stages_m_s": list(known.speeds),
            "missing": known.missing or None,
            "evidence": known.evidence or None,
            "left_out": _left_out(plan),
        },
    }


def sentences(plan: Plan) -> list[str]:
    """What is proven, how near the plan comes to it, and what is not."""
    known, best = plan.bound, plan.best
    if known is None:
        return []
    if known.speed is None:
        return [f"No proof that nothing is faster: there is no bound yet of {known.missing}."]
    said = [_nearness(known.speed, None if best is None else best.exit_speed)]
    if known.evidence:
        said.append(f"Proven, but for {known.evidence}: those are evidence.")
    names = _left_out(plan)
    if names:
        said.append(f"That leaves out what stages share ({', '.join(names)}): the plan may be nearer to the best.")
    return [" ".join(said)]


def _nearness(top: float, reached: float | None) -> str:
    none_faster = f"No wheel speeds within the limits throw faster than {speed(top)} m/s"
    if reached is None:
        return f"{none_faster}."
    gap = top / reached - 1
    if gap < -BEATEN:
        return f"This plan beats the {speed(top)} m/s that nothing should exceed: the bound is wrong. Please report it."
    return f"{none_faster}; this plan is within {percent(gap, 2)} of that."


def _left_out(plan: Plan) -> list[str]:
    return [name.replace("_", " ") for name in sorted(plan.binding & LEFT_OUT)]

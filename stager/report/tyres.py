"""Why a tyre leaves its rim, and which change helps most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stager.constraints import OperatingPoint
from stager.physics.tyre import Failure, Retention, explain
from stager.report.digits import digits, percent

NEAR = 0.7
"""Share of a tyre's greatest speed from which its story is told [-]."""
WHY = {
    Failure.LIFTS: (
        "Spinning pulls the ring outward with ρu², whatever the wheel's radius, against the Eε that its stretch presses"
        " it on with."
    ),
    Failure.CREEPS_OUT: "Spinning takes the ring's grip on its seat away, then friction of the clamp alone holds it.",
    Failure.BREAKS_LIP: "What spinning takes from the ring's stretch comes to lie on the lip.",
    Failure.PEELS: "What spinning takes from the ring's stretch comes to pull on the bond.",
    Failure.TEARS: "It is held, so that the ring's own weight is what its rubber has to bear.",
}


def summary(design: OperatingPoint) -> list[dict[str, Any]]:
    """Tyres by stage as the documents have them; nothing for wheels without one."""
    return [_row(stage, speed, found) for stage, speed, found in _tyres(design)]


def notes(design: OperatingPoint) -> list[str]:
    """The story of the tyre that is nearest to leaving, where it is near or over; nothing else."""
    tyres = _tyres(design)
    if not tyres:
        return []
    stage, speed, found = max(tyres, key=lambda tyre: tyre[1] / tyre[2].speed)
    if found.failure is None or speed < NEAR * found.speed:
        return []
    first = (
        f"Tyre of stage {stage}: {found.failure.value} at {digits(found.speed)} m/s, it runs at {digits(speed)} m/s."
    )
    alone = (
        f"Stretch alone holds to {digits(found.lift_off)} m/s; at {digits(speed)} m/s it would take"
        f" {percent(found.needed_stretch, 0)}."
    )
    help_most = [f"Most helps: {change.what}, to {digits(change.speed)} m/s." for change in found.changes[:1]]
    return [" ".join([first, WHY[found.failure], alone, *help_most])]


def _tyres(design: OperatingPoint) -> Sequence[tuple[int, float, Retention]]:
    found = []
    for k in range(design.count):
        speed = float(design.fastest[k])
        retention = explain(design.launcher.stage(k).wheel, speed)
        if retention is not None:
            found.append((k + 1, speed, retention))
    return found


def _row(stage: int, speed: float, found: Retention) -> dict[str, Any]:
    return {
        "stage": stage,
        "wheel_speed_m_s": speed,
        "leaves_at_m_s": None if found.failure is None else found.speed,
        "because": None if found.failure is None else found.failure.value,
        "missing": found.missing,
        "stretch_alone_holds_to_m_s": found.lift_off,
        "stretch_needed_alone": found.needed_stretch,
        "changes": [{"what": change.what, "holds_to_m_s": change.speed} for change in found.changes],
    }

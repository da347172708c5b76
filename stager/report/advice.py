"""The recommended wheel speed, in the same words everywhere."""

from __future__ import annotations

from typing import Any

from stager.constraints.recommend import Recommended
from stager.report.digits import speed


def summary(chosen: Recommended) -> dict[str, Any]:
    """A recommendation as the documents have it."""
    none = chosen.wheel_speed is None
    return {
        "wheel_speed_m_s": chosen.wheel_speed,
        "exit_speed_m_s": None if none else chosen.exit_speed,
        "mean_exit_speed_m_s": None if none else chosen.mean_exit,
        "limits_kept_fraction": None if none or not chosen.draws else chosen.kept,
        "stopped_by": chosen.by,
        "reason": chosen.reason,
    }


def notes(chosen: Recommended | None, stage: int, at: str | None = None) -> list[str]:
    """A sentence on what to set stage `stage` (from 1) to, and why; at: the speed as the reader's table has it."""
    if chosen is None:
        return []
    if chosen.wheel_speed is None:
        return [f"Stage {stage}: {chosen.reason[0].lower()}{chosen.reason[1:]}"]
    said = at or f"{speed(chosen.wheel_speed)} m/s"
    leaves = f"{speed(chosen.exit_speed)} m/s"
    return [f"Recommended for stage {stage}: {said} of wheel speed, exit {leaves}. {chosen.reason}"]

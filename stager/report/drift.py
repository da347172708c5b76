"""Drift within a session, in words and rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stager.fit.drift import Drift
from stager.report.digits import percent


def drift_rows(drifts: Sequence[Drift]) -> list[dict[str, Any]]:
    """Drift of each build as the document has it."""
    return [
        {
            "build": one.build,
            "throws": one.throws,
            "by": one.by,
            "change_fraction": None if one.change is None else one.change.value,
            "interval": None if one.change is None else list(one.change.interval),
            "probability": None if one.change is None else one.adjusted,
            "claimed": one.claimed,
            "reason": one.reason or None,
        }
        for one in drifts
    ]


def drift_notes(drifts: Sequence[Drift]) -> list[str]:
    """A sentence for each build."""
    return [_sentence(one) for one in drifts]


def _sentence(one: Drift) -> str:
    name = f"Build {one.build}" if one.build else "The session"
    if one.change is None:
        return f"{name}: drift is not known; {one.reason}."
    low, high = one.change.interval
    span = f"{percent(one.change.value)} from first to last throw ({percent(low)} to {percent(high)})"
    if one.claimed:
        return f"{name} drifts: exit speed changes by {span}."
    return f"{name}: no drift is shown, {span}."

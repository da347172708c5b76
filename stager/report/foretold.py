"""Chains that a fit foretells, as rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stager.fit.grip_ensemble import Span, Tuned
from stager.fit.prediction import Predicted
from stager.report import advice
from stager.report.digits import MISSING, percent, speed
from stager.report.table import Column, Table


def rows(predicted: Sequence[Predicted], *, adequate: bool = True) -> list[dict[str, Any]]:
    """Chains as the document has them; without grip limits where the fit they come from is not adequate."""
    return [
        {
            "stages": one.stages,
            "measured": one.measured,
            "wheel_speed_m_s": one.wheel_speed,
            "exit_speed_m_s": _span(one.exit_speed),
            "tuned_exit_speed_m_s": _span(one.tuned_exit),
            "gain_fraction": None if one.gain is None else _span(one.gain),
            "probability_worthwhile": one.probability_worthwhile,
            "grip_limit": None
            if one.tuned.grip_limit is None or not adequate
            else {
                "wheel_speed_m_s": one.tuned.grip_limit.nominal,
                "exit_speed_m_s": one.tuned.exit_speed.nominal,
                "interval_m_s": [one.tuned.grip_limit.low, one.tuned.grip_limit.high],
            },
            "robust": robust(one.tuned),
            "recommended": advice.summary(one.tuned.recommended),
        }
        for one in predicted
    ]


def robust(tuned: Tuned) -> dict[str, Any]:
    """Recommended setting with its interval, as the documents have it."""
    leaves = tuned.recommended_exit
    known = tuned.recommended.wheel_speed is not None
    return {
        "wheel_speed_m_s": tuned.recommended.wheel_speed,
        "exit_speed_m_s": leaves.nominal if known else None,
        "interval_m_s": [leaves.low, leaves.high] if known else None,
        "loss_5_percent_short": tuned.short,
        "loss_5_percent_over": tuned.over,
    }


def settings(predicted: Sequence[Predicted]) -> Table:
    """One row a stage: where its wheels lose grip, where to set them, what being off by 5 % costs."""
    columns = (
        Column("stage"), Column("grip limit", "m/s"), Column("95 %", "m/s"), Column("set to", "m/s"),
        Column("5 % below", "costs"), Column("5 % above", "costs"),
    )  # fmt: skip
    lines = tuple(
        (
            str(one.stages), *_limit(one.tuned.grip_limit), speed(one.tuned.recommended.wheel_speed),
            *_costs(one.tuned),
        )
        for one in predicted
    )  # fmt: skip
    return Table("Wheel speed of each stage", columns, lines)


def exits(predicted: Sequence[Predicted]) -> Table:
    """One row a chain: what leaves the launcher."""
    columns = (
        Column("stages"), Column("exit", "m/s"), Column("95 %", "m/s"), Column("gain"), Column("pays", "chance"),
        Column("", words=True),
    )  # fmt: skip
    lines = tuple(
        (
            str(one.stages), speed(one.tuned_exit.nominal), _ends(one.tuned_exit),
            MISSING if one.gain is None else percent(one.gain.nominal), percent(one.probability_worthwhile, 0),
            "measured" if one.measured else "foretold",
        )
        for one in predicted
    )  # fmt: skip
    return Table("Exit speed, each stage tuned", columns, lines)


def sentence(predicted: Sequence[Predicted]) -> str:
    """The answer in a sentence: where the last measured stage grips, what the next one gives."""
    built = [one for one in predicted if one.measured]
    said = ""
    if built:
        last = built[-1]
        limit = last.tuned.grip_limit
        said = (
            f"stage {last.stages} still gains at the end of its range"
            if limit is None
            else f"stage {last.stages} grips up to {speed(limit.nominal)} m/s of wheel speed ({_ends(limit)})"
        )
    ahead = next((one for one in predicted if not one.measured), None)
    if ahead is None:
        return said + "."
    leaves = f"{ahead.stages} stages would throw at {speed(ahead.tuned_exit.nominal)} m/s ({_ends(ahead.tuned_exit)})"
    return f"{said}; {leaves}." if said else f"{leaves}."


def missing(predicted: Sequence[Predicted]) -> list[str]:
    """What it costs to miss the grip limit of the last measured stage, on either side."""
    built = [one for one in predicted if one.measured and one.tuned.grip_limit is not None]
    if not built:
        return []
    tuned = built[-1].tuned
    short, over = percent(tuned.short), percent(tuned.over)
    return [f"Wheels of stage {tuned.stage} 5 % below the grip limit cost {short} of exit speed, 5 % above it {over}."]


def _costs(tuned: Tuned) -> tuple[str, str]:
    """What being off the grip limit costs, where there is one."""
    return (MISSING, MISSING) if tuned.grip_limit is None else (percent(tuned.short), percent(tuned.over))


def _span(span: Span) -> dict[str, float]:
    return {"nominal": span.nominal, "low": span.low, "high": span.high}


def _limit(limit: Span | None) -> tuple[str, str]:
    return (MISSING, MISSING) if limit is None else (speed(limit.nominal), _ends(limit))


def _ends(span: Span) -> str:
    return f"{span.low:.2f} to {span.high:.2f}"

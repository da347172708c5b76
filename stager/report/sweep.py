"""`stager sweep`: exit speed against the wheel speed of a stage, as screen and document."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.constraints.recommend import Recommended
from stager.fit.grip_ensemble import Tuned
from stager.fit.prediction import Observations
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.sweep import Sweep
from stager.physics.mechanics import turns_per_minute
from stager.report import predictions
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import title
from stager.report.numbers import percent, speed
from stager.report.plot import Marked, TextCurve

ROWS = 16
"""About so many points of the curve stand in its table."""


def answer(
    launcher: Launcher, sweep: Sweep, source: Provenance, spread: Tuned | None = None,
    measured: Observations | None = None, chosen: Recommended | None = None, *, fitted: bool = False,
) -> Answer:  # fmt: skip
    """Return the curve of a sweep with its grip limit; it is a "no" where no throw leaves this stage.

    spread: grip limit over the uncertainties; measured: throws beside it; chosen: recommended wheel speed; fitted: it
    comes from a fit to the throws.
    """
    near = None if measured is None else measured.drawn(sweep.before_a, sweep.before_b)
    more = [_curve(launcher, sweep)] if _passes(sweep) else []
    chosen = chosen if _passes(sweep) else None
    pictures = (_picture(sweep, spread, near),) if _passes(sweep) else ()
    notes = [
        *_notes(launcher, sweep), *_interval(spread),
        *predictions.recommended_notes(chosen, sweep.stage, by="a fit to the throws" if fitted else ""),
        *predictions.outlet_notes(launcher, [chosen]),
        *([] if spread is None else predictions.jams(spread)),
    ]  # fmt: skip
    if measured is not None and near is not None:
        more.append(predictions.measured_table(measured))
        notes = [*predictions.measured_notes(measured, len(near)), *notes]
    screen = Screen(_headline(launcher, sweep), (), notes, pictures=pictures, more_tables=more)
    return Answer(screen, document(summary(sweep, spread, measured, chosen), source), yes=_passes(sweep))


def summary(
    sweep: Sweep, spread: Tuned | None = None, measured: Observations | None = None, chosen: Recommended | None = None
) -> dict[str, Any]:
    """Return a sweep as JSON has it, without provenance."""
    grip = None
    if sweep.grip_speed is not None:
        limit = None if spread is None else spread.grip_limit
        interval = None if limit is None else [limit.low, limit.high]
        grip = {"wheel_speed_m_s": sweep.grip_speed, "exit_speed_m_s": sweep.grip_exit, "interval_m_s": interval}
    return {
        "stage": sweep.stage,
        "entry_speed_m_s": sweep.entry_speed,
        "speeds_before_m_s": sweep.before_a,
        "wheel_speed_m_s": sweep.wheel_speed,
        "exit_speed_m_s": sweep.exit_speed,
        "grip_limit": grip,
        "range_ends_by": None if grip else sweep.ends_by,
        "robust": None if spread is None else predictions.robust(spread),
        "recommended": None if chosen is None else predictions.recommended_rows(chosen),
        "median_difference_fraction": None if measured is None else predictions.median(measured),
        "measured": None if measured is None else predictions.measured_rows(measured),
    }


def _interval(spread: Tuned | None) -> list[str]:
    """Return sentences on the interval of the grip limit, and on the loss 5 % below and above it."""
    limit = None if spread is None else spread.grip_limit
    if spread is None or limit is None:
        return []
    short, over = percent(spread.short), percent(spread.over)
    return [
        f"95 % interval of the grip limit: {limit.low:.2f} to {limit.high:.2f} m/s. A wheel 5 % below the grip limit"
        f" costs {short} of exit speed, 5 % above it {over}."
    ]


def _passes(sweep: Sweep) -> bool:
    return bool(np.any(sweep.exit_speed > 0))


def _headline(launcher: Launcher, sweep: Sweep) -> str:
    name = launcher.projectile.shape.name
    if sweep.entry_speed == 0:
        return f"The {name} jams before stage {sweep.stage}."
    if not _passes(sweep):
        return f"The {name} jams in stage {sweep.stage} at every wheel speed."
    if sweep.grip_speed is None or sweep.grip_exit is None:
        return (
            f"Stage {sweep.stage}: exit speed still rises at {speed(sweep.top)} m/s,"
            f" where the range ends ({title(sweep.ends_by)})."
        )
    rpm = float(turns_per_minute(sweep.grip_speed, launcher.stage(sweep.stage - 1).wheel))
    return (
        f"Stage {sweep.stage}: grip limit at {speed(sweep.grip_speed)} m/s of wheel speed ({rpm:.0f} rpm),"
        f" exit {speed(sweep.grip_exit)} m/s."
    )


def _picture(sweep: Sweep, spread: Tuned | None, near: Floats | None) -> TextCurve:
    """Return the text picture of the curve with measured throws and the grip limit."""
    marked = None
    if sweep.grip_speed is not None:
        limit = None if spread is None else spread.grip_limit
        ends = None if limit is None else (limit.low, limit.high)
        marked = Marked(x=sweep.grip_speed, words=f"grip limit {speed(sweep.grip_speed)}", interval=ends)
    points = None if near is None or not near.size else (near[:, 0], near[:, 1])
    title = f"Exit speed (upwards) against wheel speed, both in m/s{'' if points is None else '; o: measured'}"
    return TextCurve(title=title, x=sweep.wheel_speed, y=sweep.exit_speed, points=points, marked=marked)


def _curve(launcher: Launcher, sweep: Sweep) -> Table:
    """Return a table of about `ROWS` points of the curve, with the grip limit among them."""
    wheel = launcher.stage(sweep.stage - 1).wheel
    points = [(u, v, "") for u, v in zip(sweep.wheel_speed, sweep.exit_speed, strict=True)]
    points = points[:: max(1, len(points) // ROWS)]
    if sweep.grip_speed is not None and sweep.grip_exit is not None:
        points = [point for point in points if not np.isclose(point[0], sweep.grip_speed, rtol=0.01)]
        points.append((sweep.grip_speed, sweep.grip_exit, "grip limit"))
    best = float(np.max(sweep.exit_speed))
    rows = tuple(
        (
            speed(u),
            f"{float(turns_per_minute(u, wheel)):.0f}",
            speed(v) if v > 0 else "jam",
            percent(v / best) if best > 0 else percent(None),
            note,
        )
        for u, v, note in sorted(points)
    )
    columns = (
        Column("wheel", "m/s"),
        Column("wheel", "rpm"),
        Column("exit", "m/s"),
        Column("of greatest"),
        Column("", words=True),
    )
    return Table("In numbers", columns, rows)


def _notes(launcher: Launcher, sweep: Sweep) -> list[str]:
    if sweep.stage == 1:
        return [f"The {launcher.projectile.shape.name} enters at the feed's {speed(sweep.entry_speed)} m/s."]
    before = ", ".join(speed(u) for u in sweep.before_a)
    return [f"It enters stage {sweep.stage} at {speed(sweep.entry_speed)} m/s, after wheels at {before} m/s."]

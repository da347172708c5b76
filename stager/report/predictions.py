"""Predicted chains, recommended wheel speeds, measured throws beside predictions, and `stager sweep`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from stager.constraints.recommend import Recommended
from stager.fit.prediction import Observations, Predicted, Span, Tuned
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import LimitValues
from stager.optimise.sweep import Sweep
from stager.physics.mechanics import turns_per_minute
from stager.report import limits
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import title
from stager.report.numbers import MISSING, listing, percent, plural, signed, speed, speed_to_set
from stager.report.terminal import Marked, TextCurve
from stager.report.throw import instruments


def recommended_rows(chosen: Recommended) -> dict[str, Any]:
    """Return a recommended wheel speed as JSON has it."""
    none = chosen.wheel_speed is None
    return {
        "wheel_speed_m_s": chosen.wheel_speed,
        "exit_speed_m_s": None if none else chosen.exit_speed,
        "mean_exit_speed_m_s": None if none else chosen.mean_exit,
        "limits_kept_fraction": None if none or not chosen.draws else chosen.kept,
        "stopped_by": chosen.by,
        "not_judged": [limit.name for limit in chosen.not_judged],
        "reason": chosen.reason,
    }


FAR = (
    "The recommended wheel is more than twice as fast as any thrown with: go there step by step, and fit what was"
    " measured before each."
)
"""What to do where a recommended speed is beyond what throws so far tell of."""


def recommended_notes(chosen: Recommended | None, stage: int, at: str | None = None, *, by: str = "") -> list[str]:
    """Return a sentence on the recommended wheel speed of a stage (from 1) and its reason.

    at: the speed in the unit of the reader's table; None: in m/s; by: what it rests on besides the configuration.
    """
    if chosen is None:
        return []
    if chosen.wheel_speed is None:
        return [f"Stage {stage}: {chosen.reason[0].lower()}{chosen.reason[1:]}"]
    setting = at or f"{speed_to_set(chosen.wheel_speed)} m/s"
    exits = f"{speed(chosen.exit_speed)} m/s"
    after = f" by {by}" if by else ""
    text = f"Recommended{after} for stage {stage} as the last one: wheel speed {setting}, exit {exits}. {chosen.reason}"
    return [text, *limits.unknown(chosen.not_judged)]


def outlet_notes(launcher: Launcher, chosen: Sequence[Recommended | None]) -> list[str]:
    """Return which exit speeds are behind the outlet, where there is one and a setting is recommended."""
    if launcher.outlet is None or all(one is None or one.wheel_speed is None for one in chosen):
        return []
    return ["The recommended setting's exit speed is behind the outlet, all others are behind the last wheel."]


def chain_rows(predicted: Sequence[Predicted], *, adequate: bool = True) -> list[dict[str, Any]]:
    """Return predicted chains as JSON has them; adequate: False leaves out grip limits, as the fit does not hold."""
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
            "recommended": recommended_rows(one.tuned.recommended),
        }
        for one in predicted
    ]


def robust(tuned: Tuned) -> dict[str, Any]:
    """Return the recommended setting with its interval as JSON has it."""
    exits = tuned.recommended_exit
    known = tuned.recommended.wheel_speed is not None
    return {
        "wheel_speed_m_s": tuned.recommended.wheel_speed,
        "exit_speed_m_s": exits.nominal if known else None,
        "interval_m_s": [exits.low, exits.high] if known else None,
        "jams_fraction": tuned.jams if known else None,
        "loss_5_percent_short": tuned.short,
        "loss_5_percent_over": tuned.over,
    }


def jams(tuned: Tuned) -> list[str]:
    """Return how many builds jam at the recommended setting, where any do."""
    if not tuned.jams > 0:
        return []
    return [f"At that setting stage {tuned.stage} jams in {max(100 * tuned.jams, 1):.0f} of 100 builds."]


def settings(predicted: Sequence[Predicted]) -> Table:
    """Return a table with a row for each stage: grip limit, wheel speed to set, loss if set 5 % off."""
    columns = (
        Column("stage"), Column("grip limit", "m/s"), Column("95 %", "m/s"), Column("set to", "m/s"),
        Column("5 % below", "costs"), Column("5 % above", "costs"),
    )  # fmt: skip
    lines = tuple(
        (
            str(one.stages), *_limit(one.tuned.grip_limit), speed_to_set(one.tuned.recommended.wheel_speed),
            *_costs(one.tuned),
        )
        for one in predicted
    )  # fmt: skip
    return Table("Wheel speed of each stage", columns, lines)


def exits(predicted: Sequence[Predicted]) -> Table:
    """Return a table of the exit speed of each chain of stages."""
    columns = (
        Column("stages"), Column("exit", "m/s"), Column("95 %", "m/s"), Column("gain"), Column("chance it pays"),
        Column("", words=True),
    )  # fmt: skip
    lines = tuple(
        (
            str(one.stages), speed(one.tuned_exit.nominal), _ends(one.tuned_exit),
            MISSING if one.gain is None else percent(one.gain.nominal), percent(one.probability_worthwhile, 0),
            "measured" if one.measured else "predicted",
        )
        for one in predicted
    )  # fmt: skip
    return Table("Exit speed, each stage tuned", columns, lines)


def words(predicted: Sequence[Predicted]) -> str:
    """Return words on the grip limit of the last measured stage and the exit speed with the next one.

    "" where there are none, as no setting of the first stage keeps the limits.
    """
    built = [one for one in predicted if one.measured]
    measured = ""
    if built:
        last = built[-1]
        limit = last.tuned.grip_limit
        measured = (
            f"stage {last.stages} still gains at the end of its range"
            if limit is None
            else f"stage {last.stages} grips up to {speed(limit.nominal)} m/s of wheel speed ({_ends(limit)})"
        )
    ahead = next((one for one in predicted if not one.measured), None)
    if ahead is None:
        return measured
    exits = ahead.tuned_exit
    next_stage = f"{ahead.stages} stages would throw at {speed(exits.nominal)} m/s ({_ends(exits)})"
    return f"{measured}; {next_stage}" if measured else next_stage


def jams_at_last(predicted: Sequence[Predicted]) -> list[str]:
    """Return how many builds jam at the recommended setting of the last measured stage, where any do."""
    built = [one for one in predicted if one.measured and one.tuned.grip_limit is not None]
    return jams(built[-1].tuned) if built else []


def _costs(tuned: Tuned) -> tuple[str, str]:
    """Return the loss 5 % below and above the grip limit, where there is one."""
    return (MISSING, MISSING) if tuned.grip_limit is None else (percent(tuned.short), percent(tuned.over))


def _span(span: Span) -> dict[str, float]:
    return {"nominal": span.nominal, "low": span.low, "high": span.high}


def _limit(limit: Span | None) -> tuple[str, str]:
    return (MISSING, MISSING) if limit is None else (speed(limit.nominal), _ends(limit))


def _ends(span: Span) -> str:
    return f"{span.low:.2f} to {span.high:.2f}"


def measured_rows(launcher: Launcher, points: Observations) -> list[dict[str, Any]]:
    """Return measured throws as JSON has them, in the order of the table; wheel speeds are of stages 1 to the last."""
    throws = points.throws
    driven = [launcher.stage(k).layout.side_b_driven for k in range(points.side_b.shape[1])]
    side_b = [[u if has else None for u, has in zip(row, driven, strict=True)] for row in points.side_b.tolist()]
    return [
        {
            "line": int(throws.line[k]), "throw": throws.order[k], "build": str(throws.build[k]),
            "wheel_speed_m_s": points.side_a[k], "wheel_speed_b_m_s": side_b[k], "exit_speed_m_s": throws.exit_speed[k],
            "expected_exit_speed_m_s": points.expected[k], "difference_fraction": difference,
            "expected_m_s": points.expected[k], "interval_m_s": points.interval[k], "outside": points.outside[k],
        }
        for k, difference in enumerate(points.difference)
    ]  # fmt: skip


def median(points: Observations) -> float | None:
    """Return the median relative difference of measured and expected exit speed [-]; None where there is none."""
    known = points.difference[np.isfinite(points.difference)]
    return float(np.median(known)) if known.size else None


def measured_table(points: Observations) -> Table:
    """Return a table with a row for each throw, slowest wheels first."""
    throws, before = points.throws, points.side_a.shape[1] - 1
    columns = (
        Column("throw"), Column("build", words=True), Column("before", "m/s"), Column("wheel", "m/s"),
        Column("measured", "m/s"), Column("expected", "m/s"), Column("difference"), Column("95 % of throws", "m/s"),
        Column("", words=True),
    )  # fmt: skip
    lines = tuple(
        (
            f"{throws.order[k]:g}", str(throws.build[k]) or MISSING,
            ", ".join(_setting(points, k, stage) for stage in range(before)) or MISSING, _setting(points, k, before),
            _exit(throws.exit_speed[k]), _exit(points.expected[k]), signed(points.difference[k]),
            f"{points.interval[k, 0]:.2f} to {points.interval[k, 1]:.2f}", "outside" if points.outside[k] else "",
        )
        for k in np.lexsort((throws.order, *points.side_a.T))
    )  # fmt: skip
    return Table("Measured throws, and what the configuration expects of them", columns, lines).without_empty(MISSING)


def measured_notes(points: Observations, drawn: int) -> list[str]:
    """Return sentences on the difference from expectation, jams, builds, and throws not in the picture.

    drawn: throws in the picture.
    """
    throws, middle = points.throws, median(points)
    measured, expected = throws.exit_speed > 0, points.expected > 0
    sentences = []
    if middle is not None:
        known = points.difference[np.isfinite(points.difference)]
        low, high = np.quantile(known, [0.25, 0.75])
        half = f"; half of them between {signed(low)} and {signed(high)}" if known.size > 3 else ""
        sentences.append(
            f"Measured exit speed differs from what the configuration expects by {signed(middle)} in the median"
            f" ({plural(known.size, 'throw')}{half})."
        )
    for count, words in (
        ((~measured & expected).sum(), "jammed where the configuration expects none to"),
        ((measured & ~expected).sum(), "got through where the configuration expects a jam"),
        ((~measured & ~expected).sum(), "jammed as expected"),
    ):
        if count:
            sentences.append(f"{plural(int(count), 'throw')} {words}.")
    sentences.append(_within_interval(points))
    left = int(measured.sum()) - drawn
    if left:
        sentences.append(f"Not in the picture: {plural(left, 'throw')} with other speeds of the wheels before.")
    if len(throws.builds) > 1:
        sentences.append(f"Builds shown as one: {listing(list(throws.builds))}; --build shows one alone.")
    return sentences


MOST_NAMED = 8
"""Throws outside their interval that the short screen names."""


def _within_interval(points: Observations) -> str:
    """Return which throws lie outside the interval of a single throw."""
    count, outside = len(points.throws), [f"{order:g}" for order in points.throws.order[points.outside]]
    of = f"{len(outside) or 'None'} of {plural(count, 'throw')} {'lie' if len(outside) > 1 else 'lies'}"
    which = f": {listing(outside)}" if 0 < len(outside) <= MOST_NAMED else ""
    return f"{of} outside the 95 % interval that the configuration expects a single throw in{which}."


def _setting(points: Observations, k: int, stage: int) -> str:
    side_a, side_b = float(points.side_a[k, stage]), float(points.side_b[k, stage])
    return speed(side_a) if side_a == side_b else f"{speed(side_a)}:{speed(side_b)}"


def _exit(value: float) -> str:
    return speed(value) if value > 0 else "jam"


TWICE = "The configuration comes from a fit: throws used there already would count twice."
UNFIT = "The model does not fit the throws, so no wheel speed is recommended: stager fit names what is likely."
ROWS = 16
"""About so many points of the curve stand in its table."""


def sweep_answer(
    launcher: Launcher, sweep: Sweep, source: Provenance, spread: Tuned | None = None,
    measured: Observations | None = None, chosen: Recommended | None = None, *, scenario: Scenario,
    fitted: Launcher | None = None, fits: bool = True,
) -> Answer:  # fmt: skip
    """Return the curve of a sweep with its grip limit; it is a "no" where no throw leaves this stage.

    spread: grip limit over the uncertainties; measured: throws beside it; chosen: recommended wheel speed; scenario: as
    configured; fitted: the launcher as fitted to the throws, where the speed comes from a fit; fits: whether the model
    fits them.
    """
    near = None if measured is None else measured.drawn(sweep.before_a, sweep.before_b)
    more = [_sweep_table(launcher, sweep)] if _passes(sweep) else []
    chosen = chosen if _passes(sweep) else None
    pictures = (_sweep_picture(sweep, spread, near),) if _passes(sweep) else ()
    notes = [
        *_sweep_notes(launcher, sweep), *_interval(spread),
        *recommended_notes(chosen, sweep.stage, by="a fit to the throws" if fitted else ""),
        *([] if fits else [UNFIT]),
        *([TWICE] if fitted and scenario.draws is not None else []),
        *_unlimited(launcher, scenario.limit_values, sweep, chosen),
        *_shown(fitted or launcher, sweep, chosen),
        *outlet_notes(launcher, [chosen]),
        *([] if spread is None or chosen is None else jams(spread)),
    ]  # fmt: skip
    if measured is not None and near is not None:
        more.append(measured_table(measured))
        notes = [*measured_notes(measured, len(near)), *notes]
    screen = Screen(_sweep_headline(launcher, sweep), (), notes, pictures=pictures, more_tables=more)
    content = sweep_summary(launcher, sweep, spread, measured, chosen)
    return Answer(screen, document(content, source), yes=_passes(sweep))


def sweep_summary(
    launcher: Launcher, sweep: Sweep, spread: Tuned | None = None, measured: Observations | None = None,
    chosen: Recommended | None = None,
) -> dict[str, Any]:  # fmt: skip
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
        "robust": None if spread is None or chosen is None else robust(spread),
        "recommended": None if chosen is None else recommended_rows(chosen),
        "median_difference_fraction": None if measured is None else median(measured),
        "measured": None if measured is None else measured_rows(launcher, measured),
    }


def _shown(launcher: Launcher, sweep: Sweep, chosen: Recommended | None) -> list[str]:
    """Return what the tachometer shows at the speed to set, the recommended one, and those of the stages before."""
    if chosen is None or chosen.wheel_speed is None:
        return []
    return instruments(launcher, dict(enumerate([*sweep.before_a.tolist(), chosen.wheel_speed])))


def _unlimited(
    launcher: Launcher, limit_values: LimitValues, sweep: Sweep, chosen: Recommended | None
) -> list[str]:  # fmt: skip
    speed = None if chosen is None else chosen.wheel_speed
    return [] if speed is None else limits.reach_notes(launcher, limit_values, {sweep.stage - 1: speed})


def _interval(spread: Tuned | None) -> list[str]:
    """Return sentences on the interval of the grip limit, and on the loss 5 % below and above it."""
    limit = None if spread is None else spread.grip_limit
    if spread is None or limit is None:
        return []
    short, over = percent(spread.short), percent(spread.over)
    return [
        f"95 % interval of the grip limit: {limit.low:.2f} to {limit.high:.2f} m/s. With a wheel 5 % below the nominal"
        f" one possible builds throw {short} slower on average than each at its own, 5 % above it {over}."
    ]


def _passes(sweep: Sweep) -> bool:
    return bool(np.any(sweep.exit_speed > 0))


def _sweep_headline(launcher: Launcher, sweep: Sweep) -> str:
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


def _sweep_picture(sweep: Sweep, spread: Tuned | None, near: Floats | None) -> TextCurve:
    """Return the text picture of the curve with measured throws and the grip limit."""
    marked = None
    if sweep.grip_speed is not None:
        limit = None if spread is None else spread.grip_limit
        ends = None if limit is None else (limit.low, limit.high)
        marked = Marked(x=sweep.grip_speed, words=f"grip limit {speed(sweep.grip_speed)}", interval=ends)
    points = None if near is None or not near.size else (near[:, 0], near[:, 1])
    title = f"Exit speed (upwards) against wheel speed, both in m/s{'' if points is None else '; o: measured'}"
    return TextCurve(title=title, x=sweep.wheel_speed, y=sweep.exit_speed, points=points, marked=marked)


def _sweep_table(launcher: Launcher, sweep: Sweep) -> Table:
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


def _sweep_notes(launcher: Launcher, sweep: Sweep) -> list[str]:
    if sweep.stage == 1:
        return [f"The {launcher.projectile.shape.name} enters at the feed's {speed(sweep.entry_speed)} m/s."]
    before = ", ".join(speed(u) for u in sweep.before_a)
    held = f" while stage {sweep.stage - 1} still holds it" if sweep.coupled else ""
    return [f"It enters stage {sweep.stage} at {speed(sweep.entry_speed)} m/s{held}, after wheels at {before} m/s."]

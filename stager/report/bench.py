"""`stager next` and `stager bench`: settings to throw at next, and screens while throws are entered one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from stager.fit.experiment_design import Next, Suggested
from stager.fit.table import Throws
from stager.fit.table.reader import TableColumn
from stager.fit.table.throws import THROTTLE
from stager.fit.table.writer import TableWriter, ThrowEntry, doubts, entry_of, in_column, throttle_for, wheel_columns
from stager.model.arrays import Floats, rounded
from stager.model.launcher import Launcher
from stager.physics.mechanics import turns_per_minute
from stager.report import predictions
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import digits, listing, percent, plural, speed, speed_to_set
from stager.report.terminal import Marked, TextCurve
from stager.report.throw import CLOSE_RPM, indicated_rpm, rpm_to_set, shows_true_speeds


def next_answer(found: Next, source: Provenance) -> Answer:
    """Return settings to throw at, or that enough is known."""
    tables = (_plan_table(found),) if _shows_plan(found) else ()
    return Answer(Screen(_next_headline(found), tables, _next_notes(found)), document(next_summary(found), source))


def next_summary(found: Next) -> dict[str, Any]:
    """Return the suggestion as JSON has it, without provenance."""
    return {
        "enough_is_known": found.enough,
        "first_session": found.unmeasured,
        "helps": found.helps,
        "misfits": [one.words for one in found.misfits],
        "stages_built": found.built,
        "probability_worthwhile": found.probability_worthwhile,
        "probability_wrong": {"stage": found.wrong_stage, "speed": found.wrong_speed},
        "best_wheel_speed_m_s": found.recommended.wheel_speed,
        "recommended": predictions.recommended_rows(found.recommended),
        "plan": [
            {
                "wheel_speed_m_s": one.wheel_speed,
                "rpm": [_rpm(u, k, found.launcher) for k, u in enumerate(one.wheel_speed)],
                "indicated_rpm": _indicated(found.launcher, one.wheel_speed),
                "probability_wrong_after": one.wrong_after,
                "purpose": one.purpose,
            }
            for one in found.plan
        ],
        "settings": {"wheel_speed_m_s": found.wheel_speed, "probability_wrong_after_one": found.wrong_after},
    }


def _rpm(wheel_speed: float, k: int, launcher: Launcher) -> float:
    return float(np.asarray(turns_per_minute(wheel_speed, launcher.stage(k).wheel)).item())


def _indicated(launcher: Launcher, wheel_speed: Floats) -> list[float]:
    """Return what the tachometer shows [rpm] at true wheel speeds of all stages [m/s], (stages,)."""
    return [indicated_rpm(launcher, k, float(u)) for k, u in enumerate(wheel_speed)]


def _setting(launcher: Launcher, wheel_speed: Sequence[float], first: int = 0) -> str:
    """Return true wheel speeds of stages from `first` on [m/s], with the tachometer's readings where they differ."""
    at = f"{', '.join(speed_to_set(u) for u in wheel_speed)} m/s"
    if shows_true_speeds(launcher):
        return at
    shown = ", ".join(rpm_to_set(launcher, first + k, float(u)) for k, u in enumerate(wheel_speed))
    return f"{at} ({shown} rpm on the tachometer)"


MINUTES = 2.5
"""Time for one throw, with setting the wheels and writing it down [min]; an assumption."""
PURPOSES = {
    "decision": "how to set it",
    "limit": "grip limit",
    "model": "if the model fits",
    "again": "if it was an outlier",
    "drift": "if it drifts",
}
"""What a throw shows, by its purpose."""
NOTHING_SAFE = "No setting gets through and keeps the hard limits in as many builds as limits.confidence asks."
UNFIT = "These settings rest on the model that does not fit."


def _to_test(found: Next) -> str:
    """Return what comes of throws that test the model, as the end of a sentence."""
    return f", to test the model: if it fits, {'go on to faster wheels' if found.far else 'enough is known'}."


def _misfit_headline(found: Next) -> str:
    """Return the headline where the model does not fit, so that no advice that rests on it is as good as it looks."""
    words = found.misfits[0].words
    return f"The model does not fit the throws: {words}. Find the cause first; stager fit names what is likely."


def _next_headline(found: Next) -> str:
    if found.misfits:
        return _misfit_headline(found)
    if found.recommended.wheel_speed is None and not found.plan:
        return f"No throw is proposed. {found.recommended.reason}"
    if not (found.enough or found.plan):
        return f"No throw is proposed. {NOTHING_SAFE}"
    if found.enough:
        more = " Those below would only narrow the grip limit." if found.plan else ""
        return f"Enough is known: more throws would hardly change a decision.{more}"
    if not found.helps:
        return f"More throws with what is built would hardly help: {chance(found)} stays near {share(found.wrong)}."
    if found.unmeasured:
        minutes = 5 * math.ceil(MINUTES * len(found.plan) / 5)
        alone = " with stage 1 alone" if _alone(found) else ""
        return (
            f"First session{alone}: {plural(len(found.plan), 'throw')}, about {minutes} minutes, slow ones first:"
            f" {chance(found)} is {share(found.wrong)} now and about {share(found.plan[-1].wrong_after)} afterwards."
        )
    at = _setting(found.launcher, found.plan[0].wheel_speed.tolist())
    if found.certain:
        return f"Throw next at {at}{_to_test(found)}"
    after = f"about {share(found.plan[-1].wrong_after)} after the {plural(len(found.plan), 'throw')} below"
    return f"Throw next at {at}: {chance(found)} is {share(found.wrong)} now and {after}."


def chance(found: Next) -> str:
    """Return the words for the risk that further throws reduce."""
    stages = "" if found.probability_worthwhile is None else " or number of stages"
    return f"the chance to choose the wrong wheel speed{stages}"


def share(wrong: float) -> str:
    """Return a chance in whole per cent, at most 100 %: the sum of two chances may exceed it."""
    return percent(min(wrong, 1.0), 0)


def _alone(found: Next) -> bool:
    """Return whether throws are with the first stage alone of a launcher that may have more."""
    return found.built == 1 and found.probability_worthwhile is not None


def _shows_plan(found: Next) -> bool:
    """Return whether there are throws to make that help."""
    return bool(found.plan) and (found.helps or found.enough)


def _plan_table(found: Next) -> Table:
    """Return the throws to make, with the wheels whose speeds differ between them."""
    purposes, varied = any(one.purpose != "decision" for one in found.plan), _varied(found)
    wheels = "wheels" if found.built == 1 or len(varied) > 1 else f"wheel {varied[0] + 1}"
    columns = (
        Column("throw"), Column(wheels, "m/s"),
        Column(wheels if shows_true_speeds(found.launcher) else "tachometer", "rpm"), Column("wrong after", "chance"),
        *((Column("it shows"),) if purposes else ()),
    )  # fmt: skip
    rows = tuple(
        (
            str(number + 1),
            *_speeds_of(found, one, varied),
            share(one.wrong_after),
            *((PURPOSES[one.purpose],) if purposes else ()),
        )
        for number, one in enumerate(found.plan)
    )
    return Table("Throws to make", columns, rows)


def _varied(found: Next) -> list[int]:
    """Return the wheels whose speeds differ between the throws to make, by index; the last one where none does."""
    return np.flatnonzero(np.ptp([one.wheel_speed for one in found.plan], axis=0) > 0).tolist() or [found.built - 1]


def _speeds_of(found: Next, one: Suggested, wheels: Sequence[int]) -> tuple[str, str]:
    """Return the speeds of some wheels in a throw to make, in m/s and as the tachometer shows them."""
    speeds = [(k, float(one.wheel_speed[k])) for k in wheels]
    return ", ".join(speed_to_set(u) for _, u in speeds), ", ".join(rpm_to_set(found.launcher, k, u) for k, u in speeds)


def _steady_wheels(found: Next) -> list[str]:
    """Return a sentence on the wheels that run at one speed in all throws to make, where there are others."""
    if not _shows_plan(found):
        return []
    varied = _varied(found)
    steady = [k for k in range(found.built) if k not in varied]
    if not steady:
        return []
    surface, turns = _speeds_of(found, found.plan[0], steady)
    names = listing([str(k + 1) for k in steady])
    stay = f"Wheel {names} stays" if len(steady) == 1 else f"Wheels {names} stay"
    return [f"{stay} at {surface} m/s ({turns} rpm) in all of them."]


def _next_notes(found: Next) -> list[str]:
    if found.misfits:
        return [*_steady_wheels(found), UNFIT] if found.plan else []
    notes = _steady_wheels(found)
    if found.probability_worthwhile is not None:
        notes.append(
            f"Chance that stage {found.built + 1} is worth building: {percent(found.probability_worthwhile, 0)}."
        )
    best = found.recommended.wheel_speed
    at = None if best is None else _setting(found.launcher, [best], found.built - 1)
    notes += predictions.recommended_notes(found.recommended, found.built, at)
    if found.recommended.wheel_speed is not None:
        notes.append(f"Chance that it loses more than 1 % of exit speed: {percent(found.wrong_speed, 0)}.")
    if found.far:
        notes.append(predictions.FAR)
    if not found.enough and not found.plan and found.recommended.wheel_speed is None:
        notes.append(NOTHING_SAFE)
    if found.unmeasured and found.plan:
        notes.append(
            "Each throw by itself keeps the judged hard limits in all builds that the configuration allows for."
        )
        if _alone(found):
            notes.append("In the table of throws, cells of wheels that are not there stay empty.")
    elif not (found.unmeasured or found.enough) and np.isfinite(found.wrong):
        again = any(one.purpose == "again" for one in found.plan)
        order = "After the outlier, shuffle the throws" if again else "Shuffle the order of the throws"
        notes.append(f"{order}, so that a drift does not look like a setting.")
    return [*notes, *([predictions.TWICE] if found.refitted else [])]


HELP = """\
{example:<22}wheel speeds, then exit speed; "{wheel} jam" for a jam;
                      what follows is a note
11.6                  exit speed alone: wheels as in the throw before
build NAME            for all throws from now on; also supply VOLTS ("12.4 V"),
                      temperature DEGREES
undo                  removes the last throw from the table; undo 12: throw 12
fit                   curve, grip limit and next setting, now
show                  the last throws
quit                  (or Ctrl-D) leaves; every throw is in the table already"""
SHOWN = 12
"""Throws that `show` lists."""


def opening(writer: TableWriter, throws: Throws, cut: str | None) -> list[str]:
    """Return the first lines: how many throws the table has, the last one, and what to enter.

    cut: last line of the table where it was cut short, else None.
    """
    lines = [f"{plural(len(throws), 'throw')} in {writer.path}{_last(writer, throws)}."]
    if cut is not None:
        lines.append(f"Its last line was cut short and is a comment now: {cut}")
    exit_head = next(head for head in writer.heads if head.name == "exit_speed")
    wheel = wheel_columns(writer)[0][0]
    what = "throttles" if wheel.reading is THROTTLE else "wheel speeds"
    units = f"{what} [{_unit(wheel)}], one a stage, then exit speed [{_unit(exit_head)}];"
    return [*lines, f"Enter {units}", "or help, undo, quit."]


def all_saved(writer: TableWriter, throws: Throws) -> str:
    """Return the words that every throw is in the table."""
    return f"every throw is kept, {plural(len(throws), 'throw')} in {writer.path}"


def help_lines(writer: TableWriter) -> list[str]:
    """Return a line for each thing that can be entered."""
    wheel = "3000" if "rpm" in wheel_columns(writer)[0][0].text else "12"
    return HELP.format(example=f"{wheel} 11.6", wheel=wheel).splitlines()


def saved(entry: ThrowEntry, writer: TableWriter, throw: int) -> str:
    """Return a throw as it was understood and saved."""
    return f"kept {throw}: {entry_text(entry, writer)}"


def last_throws(throws: Throws, writer: TableWriter) -> list[str]:
    """Return a line for each of the last throws."""
    lines = []
    for k in range(max(0, len(throws) - SHOWN), len(throws)):
        entry, build = entry_of(throws, writer, k), str(throws.build[k])
        if entry is not None:
            lines.append(f"{throws.order[k]:g}{f' {build}' if build else ''}: {entry_text(entry, writer)}")
    return lines or ["no throws yet"]


def entry_text(entry: ThrowEntry, writer: TableWriter) -> str:
    """Return wheel speeds and exit speed of a throw with their units."""
    wheels = []
    for (head, _), (side_a, side_b) in zip(wheel_columns(writer), entry.wheels, strict=False):
        if side_a is not None:
            apart = "" if side_b is None else f":{side_b:g}"
            wheels.append(f"{side_a:g}{apart} {_unit(head)}")
    exit_head = next(head for head in writer.heads if head.name == "exit_speed")
    exit_speed = f"{entry.exit_speed:g} {_unit(exit_head)}" if entry.exit_speed else "jam"
    return f"{', '.join(wheels)} -> {exit_speed}{f' ({entry.note})' if entry.note else ''}"


def implausible(throws: Throws, writer: TableWriter) -> list[str]:
    """Return a warning where the last throw is physically impossible, with the likely typing error."""
    wheels, leaves = _last_speeds(throws, writer), float(throws.exit_speed[-1])
    found = doubts(writer.launcher, wheels, leaves)
    if not found:
        return []
    reasons = []
    if found.most is not None:
        reasons.append(f"{speed(leaves)} m/s is more than wheels and tilt allow, {speed(found.most)} m/s at most.")
    for stage, reached in found.beyond:
        at = _at(wheels[stage - 1], _head(writer, stage - 1), writer.launcher)
        reasons.append(f"Wheel {stage} at {at} is beyond its motor's reach, {speed(reached)} m/s.")
    swapped = _swapped(throws, writer)
    meant = f' Columns swapped? "{swapped}" could be.' if swapped else ""
    order = f"{throws.order[-1]:g}"
    return [f"Is that right? {' '.join(reasons)}{meant} undo {order} removes it."]


def _last_speeds(throws: Throws, writer: TableWriter) -> dict[int, float]:
    """Return the surface speed [m/s] of the faster wheel of each stage of the last throw, by stage index."""
    last = throws.chosen(np.array([len(throws) - 1]))
    stages = [int(k) for k in np.flatnonzero(throws.present[-1])]
    sides = [last.surface_speed(writer.launcher, stages, side)[0] for side in (0, 1)]
    fastest = np.fmax(*sides)
    return {k: float(u) for k, u in zip(stages, fastest, strict=True) if np.isfinite(u)}


def _swapped(throws: Throws, writer: TableWriter) -> str | None:
    """Return the last throw with wheel and exit speed exchanged, where that is possible, else None."""
    entry = entry_of(throws, writer)
    given = [] if entry is None else [(k, side_a) for k, (side_a, _) in enumerate(entry.wheels) if side_a]
    if entry is None or not entry.exit_speed or len(given) != 1:
        return None
    place, wheel = given[0]
    head = wheel_columns(writer)[place][0]
    leaves = next(one for one in writer.heads if one.name == "exit_speed")
    per_speed = in_column(1.0, head, writer.launcher)
    if per_speed is None or leaves.unit is None:
        return None
    wheel_speed, exit_speed = entry.exit_speed / per_speed, leaves.unit.to_si(wheel)
    # A projectile never leaves faster than the wheel's surface in a launcher of one stage.
    if exit_speed > wheel_speed or doubts(writer.launcher, {head.stage: wheel_speed}, exit_speed):
        return None
    return f"{entry.exit_speed:g} {wheel:g}"


def screen(found: Next, fitted: bool, throws: Throws, writer: TableWriter) -> Screen:
    """Return the screen after a throw: grip limit, next setting, curve of exit speed.

    fitted: `found` comes from a fit, not from the configuration alone.
    """
    start = f"{plural(len(throws), 'throw')}: " if fitted else "Expected before a fit (it needs 3 throws): "
    if found.misfits:
        unknown = replace(found, grip_limit=None)
        return Screen(f"{start}{_misfit_headline(found)}", pictures=[curve(unknown, throws, writer)])
    head = _head(writer, found.built - 1)
    limit = found.grip_limit
    grip = (
        "exit speed still rises at the end of the range"
        if limit is None
        else f"{'grips' if fitted else 'would grip'} up to {_at(limit.nominal, head, found.launcher)},"
        f" 95 %: {_plain(limit.low, head, found.launcher)} to {_plain(limit.high, head, found.launcher)}"
    )
    return Screen(f"{start}stage {found.built} {grip}.", notes=_next(found, fitted, writer), pictures=[
        curve(found, throws, writer)
    ])  # fmt: skip


def curve(found: Next, throws: Throws, writer: TableWriter) -> TextCurve:
    """Return the curve of exit speed of the last stage with its band, and the throws with as many stages."""
    head = _head(writer, found.built - 1)
    present = throws.present if len(throws) else np.zeros((0, found.built), dtype=bool)
    rows = np.flatnonzero((present.sum(axis=1) == found.built) & (throws.exit_speed > 0))
    points = None
    if rows.size:
        chosen = throws.chosen(rows)
        last = np.array([np.flatnonzero(line)[-1] for line in chosen.present])
        side_a = [
            chosen.chosen(np.array([k])).surface_speed(found.launcher, [int(stage)], 0)[0, 0]
            for k, stage in enumerate(last)
        ]
        points = (_scaled(np.array(side_a), head, found.launcher), chosen.exit_speed)
    limit, marked, launcher = found.grip_limit, None, found.launcher
    if limit is not None:
        low, middle, high = (_scaled(u, head, launcher) for u in (limit.low, limit.nominal, limit.high))
        marked = Marked(x=middle, words=f"grip limit {_plain(limit.nominal, head, launcher)}", interval=(low, high))
    unit = _unit(head) if _holds_speeds(head) else "m/s"
    return TextCurve(
        title=f"Exit speed (upwards, m/s) against wheel speed of stage {found.built} ({unit}); o: measured",
        x=_scaled(found.wheel_speed, head, launcher), y=found.median, low=found.low, high=found.high, points=points,
        marked=marked,
    )  # fmt: skip


def closing(
    writer: TableWriter, throws: Throws, new: int, watched: tuple[Next, bool] | None, config: str, source: Provenance
) -> Answer:
    """Return the answer at the end of a session."""
    notes = () if len(throws) < 3 else (f"Next: stager fit {config} {writer.path} -o fitted.toml",)
    content: dict[str, Any] = {"throws": len(throws), "entered": new, "table": str(writer.path), "next": None}
    if watched is not None:
        content["next"] = next_summary(watched[0]) | {"fitted": watched[1]}
    head = f"{plural(len(throws), 'throw')} in {writer.path}, {new} of them entered now."
    return Answer(Screen(head, notes=notes), document(content, source))


def _next(found: Next, fitted: bool, writer: TableWriter) -> list[str]:
    chosen = found.recommended
    at = None if chosen.wheel_speed is None else _at(chosen.wheel_speed, _head(writer, found.built - 1), found.launcher)
    advice = predictions.recommended_notes(chosen, found.built, at) if fitted or at is None else []
    if found.enough and fitted and at is not None:
        return [f"Enough is known for stage {found.built}.", *advice]
    return [*advice, *_throw_next(found, fitted, writer)]


def _throw_next(found: Next, fitted: bool, writer: TableWriter) -> list[str]:
    if not found.plan:
        return [] if found.enough else [f"No throw is proposed. {NOTHING_SAFE}"]
    first = found.plan[0]
    at = f"Throw next at {', '.join(_at(u, _head(writer, k), found.launcher) for k, u in enumerate(first.wheel_speed))}"
    if found.certain:
        return [f"{at}{_to_test(found)}"]
    if found.helps:
        several = len(found.plan) > 1
        first_of, then = (f", the first of {len(found.plan)} throws", "them") if several else ("", "it")
        now, after = share(found.wrong), share(found.plan[-1].wrong_after)
        return [f"{at}{first_of}: {chance(found)} is {now} now, and about {after} after {then}."]
    if not fitted:
        return [f"{at}: one throw alone tells little, but a fit needs 3."]
    return [f"A few more throws would hardly help: {chance(found)} stays near {share(found.wrong)}."]


def _last(writer: TableWriter, throws: Throws) -> str:
    entry = entry_of(throws, writer)
    return "" if entry is None else f", the last one {throws.order[-1]:g}: {entry_text(entry, writer)}"


def _head(writer: TableWriter, stage: int) -> TableColumn:
    heads = wheel_columns(writer)
    return heads[min(stage, len(heads) - 1)][0]


def _unit(head: TableColumn) -> str:
    return head.text.partition("[")[2].rstrip("]") or head.text.partition("(")[2].rstrip(")")


def _holds_speeds(head: TableColumn) -> bool:
    """Whether a column holds speeds, not throttles."""
    return head.reading is not THROTTLE


def _scaled(surface_speed: Any, head: TableColumn, launcher: Launcher) -> Any:
    """Return what the column holds at true surface speeds [m/s]; these themselves where it holds throttles."""
    factor = in_column(1.0, head, launcher)
    return surface_speed if factor is None else surface_speed * factor


def _plain(surface_speed: float, head: TableColumn, launcher: Launcher) -> str:
    value = float(_scaled(surface_speed, head, launcher))
    # Readings are rounded down, as advice goes beyond no limit; see `throw.rpm_to_set`.
    return speed_to_set(value) if np.isnan(value) or value < 100 else f"{np.floor(value + CLOSE_RPM):.0f}"


def _at(surface_speed: float, head: TableColumn, launcher: Launcher) -> str:
    """Return a setting as the column holds it, the tachometer's reading, with its true surface speed in brackets."""
    throttle, true = throttle_for(surface_speed, head, launcher), speed_to_set(surface_speed)
    if throttle is not None:
        return f"about {digits(rounded(throttle, 3, upward=False))} {_unit(head)} ({true} m/s)"
    shown = f"{_plain(surface_speed, head, launcher)} {_unit(head)}"
    if not _holds_speeds(head) or shown == f"{true} m/s":
        return f"{true} m/s"
    return f"{shown} ({true} m/s{'' if shows_true_speeds(launcher) else ' truly'})"

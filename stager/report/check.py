"""Hardware and set speeds against limits; many settings at once."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from stager.constraints import LimitResult, OperatingPoint, not_judged
from stager.constraints.duty import duty
from stager.constraints.limit import ROUNDING
from stager.fit.table.cells import habits
from stager.fit.table.reader import cells_of, delimiter_of, filled_lines, text_of
from stager.fit.table.record import Throws
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.judge import Judgements
from stager.physics.layout import pitch
from stager.report import drives as duties
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import Answer, Column, Screen, Source, Table, document
from stager.report.numbers import MISSING, digits, listing, plural, speed


def answer(design: OperatingPoint, verdicts: Sequence[LimitResult], source: Source) -> Answer:
    """A launcher with set speeds (no batch axes) and the verdicts on it; a broken limit or a jam is a "no".

    Where a limit is not judged and none is broken, `kept` is null and the answer not a "no".
    """
    thrown, rows = throws.summary(design.launcher, design.throw), _rows(design, verdicts)
    work = duty(design)
    worked = None if work is None else duties.summary(work)
    clogs, feed = duties.jams(worked), duties.feed(design.launcher)
    judged = [row["kept"] for row in rows]
    broken = thrown["jammed"] or thrown["stays_in_outlet"] or clogs or False in judged
    shown = limits.close(rows)
    helped = [row for row in shown if row["remedy"] and (not row["kept"] or row["margin_fraction"] < limits.TIGHT)]
    tables = [
        limits.abridged(rows, limits.word),
        *([replace(limits.remedies(helped), full=limits.remedies(rows))] if helped else []),
        throws.speeds(thrown["stages"]),
    ]
    more_tables = [
        *([] if helped else [limits.remedies(rows)]),
        *([] if worked is None else duties.tables(worked)),
        limits.wheel_safety(design.launcher, design.throw),
    ]
    notes = [
        *_unjudged_notes(rows),
        *spacing_notes(design.launcher, design.count),
        *throws.instruments(design.launcher, thrown["stages"]),
        *limits.tyre_notes(design),
        *([] if worked is None else duties.notes(worked)),
        *duties.feed_notes(feed),
        *limits.safety_notes(design.launcher, design.throw),
    ]
    more_notes = [*throws.entering(design.launcher), *throws.strain(thrown["stages"]), limits.GUARD]
    content = {
        "kept": False if broken else None if None in judged else True,
        "limits": rows,
        "throw": thrown,
        "drives": worked,
        "feed": feed,
        "tyres": limits.tyre_rows(design),
        "safety": limits.safety_rows(design.launcher, design.throw),
    }
    headline = (
        f"It jams at the feed's rate. {_headline(design, thrown, rows)}" if clogs else _headline(design, thrown, rows)
    )
    screen = Screen(headline, tables, notes, more_tables=more_tables, more_notes=more_notes)
    return Answer(screen, document(content, source), yes=not broken)


def _rows(design: OperatingPoint, verdicts: Sequence[LimitResult]) -> list[dict[str, Any]]:
    rows = limits.rows(verdicts, not_judged(design))
    helps = {verdict.name: verdict.remedy for verdict in verdicts}
    rows = [{**row, "remedy": helps.get(row["name"]) or None} for row in rows]
    if not design.throw.jammed:
        return rows
    return [{**row, **_UNKNOWN} if row["name"] in _THROWN else row for row in rows]


_THROWN = frozenset((
    "exit_energy", "exit_speed", "energy_per_area", "toy", "acceleration", "slip_heat", "grip_margin",
    "average_power", "winding_temperature", "settled_loss",
))  # fmt: skip
"""Limits on what a whole throw does: after a jam there is none to evaluate."""
_THROUGH = "a throw that gets through"
_UNKNOWN = {"used": None, "margin_fraction": None, "kept": None, "missing": _THROUGH, "remedy": None}


def _unjudged_notes(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    jammed = [limits.title(row["name"]) for row in rows if row["missing"] == _THROUGH]
    said = limits.unjudged_note([row for row in rows if row["missing"] != _THROUGH])
    return [f"Not judged, as the throw jams: {listing(jammed)}.", *said] if jammed else said


def _headline(design: OperatingPoint, thrown: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> str:
    if thrown["jammed"] or thrown["stays_in_outlet"]:
        return throws.headline(design.launcher, thrown)
    what = f"{speed(thrown['outlet_speed_m_s'])} m/s, {digits(thrown['exit_energy_J'])} J"
    for word, kept in (("Broken", False), ("Not judged", None)):
        found = [limits.title(row["name"]) for row in rows if row["kept"] is kept]
        if found:
            return f"{word}: {listing(found)} ({len(found)} of {plural(len(rows), 'limit')}), at {what}."
    return f"All {plural(len(rows), 'limit')} are kept, at {what}."


_ROUNDING = 1e-9


def spacing_notes(launcher: Launcher, count: int) -> list[str]:
    """A sentence for each two neighbours of `count` stages whose wheels would overlap in one plane.

    Turned about the barrel they may still have room, so that it is said rather than refused.
    """
    said = []
    for k in range(count - 1):
        given, needed = (
            float(pitch(launcher, k)),
            float(launcher.stage(k).wheel.radius + launcher.stage(k + 1).wheel.radius),
        )
        if given < needed * (1 - _ROUNDING):
            said.append(
                f"Wheels of stages {k + 1} and {k + 2} overlap: their axes are {digits(1000 * given)} mm apart and"
                f" their radii take {digits(1000 * needed)} mm. They fit only if one stage is turned about the barrel."
            )
    return said


SHOWN = 12
"""Settings that the short screen shows."""
VERDICTS = ("yes", "no", "not judged")
JAM = "jam"


def verdicts(judged: Judgements) -> list[str]:
    """Return whether each setting keeps all limits: "yes", "no" or "not judged", as a table of results has it."""
    broken = judged.jammed | (judged.slack < -ROUNDING)
    return [str(word) for word in np.where(broken, "no", np.where(judged.unjudged, "not judged", "yes"))]


def tightest(judged: Judgements) -> list[str]:
    """Return the limit that leaves least room at each setting; `JAM` where the projectile does not get through."""
    return [str(name) for name in np.where(judged.jammed, JAM, judged.limit)]


def settings_answer(launcher: Launcher, settings: Throws, judged: Judgements, source: Source) -> Answer:
    """Many settings and what the limits say of each; none that keeps all limits is a "no"."""
    kept, limit = verdicts(judged), tightest(judged)
    counts = {verdict: kept.count(verdict) for verdict in VERDICTS}
    speeds = _surface_speeds(launcher, settings)
    content = {
        "settings": [
            {
                "line": int(settings.line[i]),
                **{f"{name}_m_s": float(values[i]) for name, values in speeds.items() if not np.isnan(values[i])},
                "exit_speed_m_s": float(judged.exit_speed[i]),
                "kept": kept[i], "slack": float(judged.slack[i]), "limit": limit[i],
            }
            for i in range(len(kept))
        ],
        "counts": counts,
    }  # fmt: skip
    fine = counts["yes"] + counts["not judged"]
    said = listing([f"{counts[key]} {words[counts[key] > 1]}" for key, words in _COUNTED.items() if counts[key]])
    order = sorted(range(len(kept)), key=lambda i: (kept[i] == "no", -judged.exit_speed[i]))
    best = order[0]
    first = (
        f" The fastest that breaks none leaves at {speed(float(judged.exit_speed[best]))} m/s"
        f" (line {settings.line[best]})." if fine else ""
    )  # fmt: skip
    names = list(speeds)
    columns = (
        Column("line"), *(Column(name.replace("_", " "), "m/s") for name in names), Column("exit", "m/s"),
        Column("kept", words=True), Column("slack", "%"), Column("tightest limit", words=True),
    )  # fmt: skip
    rows = tuple(
        (
            str(settings.line[i]), *(speed(float(speeds[name][i])) for name in names),
            speed(float(judged.exit_speed[i])), kept[i], _slack(float(judged.slack[i])), limits.title(limit[i]),
        )
        for i in order
    )  # fmt: skip
    whole = Table("Settings, the fastest that keep the limits first", columns, rows).without_empty(MISSING)
    short = replace(whole, rows=whole.rows[:SHOWN], full=whole) if len(rows) > SHOWN else whole
    screen = Screen(f"{plural(len(kept), 'setting')}: {said}.{first}", (short,))
    return Answer(screen, document(content, source), yes=bool(fine))


_COUNTED = {
    "yes": ("keeps all limits", "keep all limits"),
    "not judged": ("breaks none that can be judged", "break none that can be judged"),
    "no": ("breaks a limit or jams", "break a limit or jam"),
}
"""What each verdict says of one setting, and of several."""


def settings_csv(settings: Throws, judged: Judgements) -> str:
    """Return the table of settings as it was written, with exit speed, verdict, slack and tightest limit behind."""
    text = text_of(Path(settings.source))
    lines = filled_lines(text)
    delimiter = delimiter_of(lines[0][1])
    decimal = "," if delimiter == ";" and _decimal_commas(lines[1:], delimiter) else "."
    heads = cells_of(lines[0][1], delimiter)
    own = [i for i, head in enumerate(heads) if not re.match(r"\s*exit[ _-]speed\b", head, re.IGNORECASE)]
    out = io.StringIO()
    write = csv.writer(out, delimiter=delimiter, lineterminator="\n").writerow
    write([*(heads[i].strip() for i in own), "exit_speed [m/s]", "kept", "slack", "limit"])
    cells = {line: cells_of(row, delimiter) for line, row in lines[1:]}
    for line, leaves, kept, slack, limit in zip(
        settings.line.tolist(), judged.exit_speed.tolist(), verdicts(judged), judged.slack.tolist(), tightest(judged),
        strict=True,
    ):  # fmt: skip
        row = cells[line]
        numbers = [f"{value:.4f}".replace(".", decimal) for value in (leaves, slack)]
        write([*(row[i].strip() if i < len(row) else "" for i in own), numbers[0], kept, numbers[1], limit])
    return out.getvalue()


def _decimal_commas(lines: Sequence[tuple[int, str]], delimiter: str) -> bool:
    return habits(cell for _, row in lines for cell in cells_of(row, delimiter)).comma


def _slack(share: float) -> str:
    return MISSING if not np.isfinite(share) else f"{100 * max(min(share, 99.0), -99.0):.1f}"


def _surface_speeds(launcher: Launcher, settings: Throws) -> dict[str, Floats]:
    """Surface speeds by column, shapes (settings,), NaN where a stage is not there."""
    stages = range(settings.present.shape[-1])
    side_a = settings.surface_speed(launcher, stages, 0)
    found = {f"wheel_{k + 1}": side_a[:, k] for k in stages}
    if settings.splits:
        side_b = settings.surface_speed(launcher, stages, 1)
        found |= {f"wheel_{k + 1}b": side_b[:, k] for k in stages}
    return found

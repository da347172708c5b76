"""`stager check`: hardware and set speeds against limits, one setting or a table of settings."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, LimitResult, OperatingPoint, not_judged
from stager.constraints.drives import duty
from stager.constraints.limit import ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.barrel import pitch
from stager.report import drives, flight, limits
from stager.report import throw as throws
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import LimitRow
from stager.report.numbers import MISSING, digits, listing, plural, speed

if TYPE_CHECKING:
    from stager.fit.table import Throws
    from stager.optimise.judge import Judgements


def answer(design: OperatingPoint, verdicts: Sequence[LimitResult], source: Provenance) -> Answer:
    """Return the screen and document of one operating point (no batch axes); a broken limit or a jam is a "no".

    Where a limit is not judged and none is broken, `kept` is null in the document and the answer is a "yes".
    """
    thrown, rows = throws.summary(design.launcher, design.throw), _rows(design, verdicts)
    found = duty(design)
    driven = None if found is None else drives.summary(design.launcher, found)
    jams_at_rate, feed = drives.jams(driven), drives.feed(design.launcher, design.steady)
    pusher = _pusher(design)
    judged = [row["kept"] for row in rows]
    broken = thrown["jammed"] or thrown["stays_in_outlet"] or jams_at_rate or False in judged
    shown = limits.close(rows)
    helped = [row for row in shown if row["remedy"] and (not row["kept"] or row["margin_fraction"] < limits.TIGHT)]
    tables = [
        limits.abridged(rows, limits.word),
        *([replace(limits.remedies(helped), full=limits.remedies(rows))] if helped else []),
        throws.speeds(thrown["stages"]),
    ]
    more_tables = [
        *([] if helped else [limits.remedies(rows)]),
        *([] if driven is None else drives.tables(driven)),
        flight.wheel_hazards(design.launcher, design.throw),
    ]
    notes = [
        *_unjudged_notes(rows),
        *spacing_notes(design.launcher, design.count),
        *throws.instruments(design.launcher, throws.speeds_of(thrown["stages"])),
        *limits.tyre_notes(design),
        *driven_notes(design),
        *([] if driven is None else drives.notes(driven)),
        *drives.feed_notes(feed),
        *drives.pusher_notes(pusher),
        *flight.hazard_notes(design.launcher, design.throw),
    ]
    more_notes = [*throws.entering(design.launcher), *throws.strain(thrown["stages"]), flight.GUARD]
    content = {
        "kept": False if broken else None if None in judged else True,
        "limits": rows,
        "throw": thrown,
        "drives": driven,
        "feed": feed,
        "pusher": pusher,
        "tyres": limits.tyre_rows(design),
        "safety": flight.hazard_rows(design.launcher, design.throw),
    }
    headline = _headline(design, thrown, rows)
    if jams_at_rate:
        headline = f"It jams at the feed's rate. {headline}"
    screen = Screen(headline, tables, notes, more_tables=more_tables, more_notes=more_notes)
    return Answer(screen, document(content, source), yes=not broken)


def _pusher(design: OperatingPoint) -> dict[str, Any] | None:
    """Return what the pusher must do; None where there is none, or no stage."""
    if not design.count:
        return None
    side_a, side_b = design.set_speeds
    return drives.pushed(design.launcher, float(side_a[0]), None if side_b is None else float(side_b[0]))


def _rows(design: OperatingPoint, verdicts: Sequence[LimitResult]) -> list[LimitRow]:
    remedies = {verdict.name: verdict.remedy for verdict in verdicts}
    rows = limits.rows(verdicts, not_judged(design))
    needs_exit = {limit.name for limit in LIMITS if limit.needs_exit}
    for row in rows:
        row["remedy"] = remedies.get(row["name"]) or None
        if design.throw.jammed and row["name"] in needs_exit:
            row.update({"used": None, "margin_fraction": None, "kept": None, "missing": _THROW, "remedy": None})
    return rows


_THROW = "a throw that gets through"


def _unjudged_notes(rows: Sequence[LimitRow]) -> list[str]:
    jammed = [limits.title(row["name"]) for row in rows if row["missing"] == _THROW]
    others = limits.unjudged_note([row for row in rows if row["missing"] != _THROW])
    return [f"Not judged, as the throw jams: {listing(jammed)}.", *others] if jammed else others


def _headline(design: OperatingPoint, thrown: Mapping[str, Any], rows: Sequence[LimitRow]) -> str:
    if thrown["jammed"] or thrown["stays_in_outlet"]:
        return throws.headline(design.launcher, thrown)
    leaves = f"{speed(thrown['outlet_speed_m_s'])} m/s, {digits(thrown['exit_energy_J'])} J"
    what = f"{leaves}, with {plural(design.count, 'stage')}"
    for word, kept in (("Broken", False), ("Not judged", None)):
        found = [limits.title(row["name"]) for row in rows if row["kept"] is kept]
        if found:
            return f"{word}: {listing(found)} ({len(found)} of {plural(len(rows), 'limit')}), at {what}."
    return f"All {plural(len(rows), 'limit')} are kept, at {what}."


_ROUNDING = 1e-9
"""Share by which axes may be closer than the wheels' radii, for rounding [-]."""


def spacing_notes(launcher: Launcher, count: int) -> list[str]:
    """Return a sentence for each pair of neighbours among `count` stages whose wheels overlap in one plane.

    Turned about the barrel they may still have room, so this is a note and no error.
    """
    notes = []
    for k in range(count - 1):
        given, needed = (
            float(pitch(launcher, k)),
            float(launcher.stage(k).wheel.radius + launcher.stage(k + 1).wheel.radius),
        )
        if given < needed * (1 - _ROUNDING):
            notes.append(
                f"Wheels of stages {k + 1} and {k + 2} overlap: their axes are {digits(1000 * given)} mm apart and"
                f" their radii take {digits(1000 * needed)} mm. They fit only if one stage is turned about the barrel."
            )
    return notes


DRIVEN = 0.02
"""Share by which a projectile drives a wheel beyond its set speed from which on a note says so [-]."""


def driven_notes(design: OperatingPoint) -> list[str]:
    """Return a sentence for each stage with a wheel that the projectile drives far beyond its set speed."""
    return [
        f"The projectile drives wheel {k + 1} beyond its set speed, to {speed(most)} m/s: what it must withstand counts"
        " there."
        for k, (most, given) in enumerate(zip(design.turning, design.fastest, strict=True))
        if most > (1 + DRIVEN) * given
    ]


SETTINGS_SHOWN = 12
"""Settings that the short screen shows; the others stand under --full."""
VERDICTS = ("yes", "no", "not judged")
JAM = "jam"


def verdicts(judged: Judgements) -> list[str]:
    """Return for each setting whether it keeps all limits: "yes", "no" or "not judged"."""
    broken = _jams(judged) | (judged.slack < -ROUNDING)
    return [str(word) for word in np.where(broken, "no", np.where(judged.unjudged, "not judged", "yes"))]


def tightest(judged: Judgements) -> list[str]:
    """Return the name of the limit with the least slack at each setting; `JAM` where it jams, also at the rate."""
    return [str(name) for name in np.where(_jams(judged), JAM, judged.limit)]


def _jams(judged: Judgements) -> NDArray[np.bool_]:
    return np.asarray(judged.jammed | judged.jams_at_rate)


def settings_answer(launcher: Launcher, settings: Throws, judged: Judgements, source: Provenance) -> Answer:
    """Return the screen and document of a table of settings; it is a "no" where every setting breaks a limit."""
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
    unbroken = counts["yes"] + counts["not judged"]
    counted = listing([f"{counts[key]} {words[counts[key] > 1]}" for key, words in _COUNTED.items() if counts[key]])
    order = sorted(range(len(kept)), key=lambda i: (kept[i] == "no", -judged.exit_speed[i]))
    best = order[0]
    first = (
        f" The fastest that breaks no limit leaves at {speed(float(judged.exit_speed[best]))} m/s"
        f" (line {settings.line[best]})." if unbroken else ""
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
    full = Table("Settings, the fastest that keep the limits first", columns, rows).without_empty(MISSING)
    short = replace(full, rows=full.rows[:SETTINGS_SHOWN], full=full) if len(rows) > SETTINGS_SHOWN else full
    screen = Screen(f"{plural(len(kept), 'setting')}: {counted}.{first}", (short,))
    return Answer(screen, document(content, source), yes=bool(unbroken))


_COUNTED = {
    "yes": ("keeps all limits", "keep all limits"),
    "not judged": ("keeps all limits that can be judged", "keep all limits that can be judged"),
    "no": ("breaks a limit or jams", "break a limit or jam"),
}
"""Words for each verdict, of one setting and of several."""


def results_csv(settings: Throws, judged: Judgements) -> str:
    """Return the user's table of settings as CSV with added columns: exit speed, verdict, slack, tightest limit."""
    from stager.fit.table.reader import cells_of, delimiter_of, filled_lines, number_format, text_of

    text = text_of(Path(settings.source))
    lines = filled_lines(text)
    delimiter = delimiter_of(lines[0][1])
    commas = number_format(cell for _, row in lines[1:] for cell in cells_of(row, delimiter)).comma
    decimal = "," if delimiter == ";" and commas else "."
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


def _slack(share: float) -> str:
    return MISSING if not np.isfinite(share) else f"{100 * max(min(share, 99.0), -99.0):.1f}"


def _surface_speeds(launcher: Launcher, settings: Throws) -> dict[str, Floats]:
    """Return surface speeds [m/s] by column name, shapes (settings,), NaN where a setting lacks the stage."""
    stages = range(settings.present.shape[-1])
    side_a = settings.surface_speed(launcher, stages, 0)
    found = {f"wheel_{k + 1}": side_a[:, k] for k in stages}
    if settings.splits:
        side_b = settings.surface_speed(launcher, stages, 1)
        found |= {f"wheel_{k + 1}b": side_b[:, k] for k in stages}
    return found

"""Hardware and set speeds against limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from stager.constraints import LimitResult, OperatingPoint, not_judged
from stager.constraints.duty import duty
from stager.model.launcher import Launcher
from stager.physics.layout import pitch
from stager.report import drives as duties
from stager.report import limits, safety
from stager.report import throw as throws
from stager.report.answer import Answer, Provenance, Screen, document
from stager.report.numbers import digits, listing, plural, speed


def answer(design: OperatingPoint, verdicts: Sequence[LimitResult], source: Provenance) -> Answer:
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
        safety.wheels(design.launcher, design.throw),
    ]
    notes = [
        *_unjudged_notes(rows),
        *spacing_notes(design.launcher, design.count),
        *throws.instruments(design.launcher, thrown["stages"]),
        *limits.tyre_notes(design),
        *([] if worked is None else duties.notes(worked)),
        *duties.feed_notes(feed),
        *safety.notes(design.launcher, design.throw),
    ]
    more_notes = [*throws.entering(design.launcher), *throws.strain(thrown["stages"]), safety.GUARD]
    content = {
        "kept": False if broken else None if None in judged else True,
        "limits": rows,
        "throw": thrown,
        "drives": worked,
        "feed": feed,
        "tyres": limits.tyre_rows(design),
        "safety": safety.rows(design.launcher, design.throw),
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

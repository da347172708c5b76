"""`stager listen`: speed and rpm from the sound of a throw, as screen and document."""

from __future__ import annotations

from typing import Any

from stager.fit.sound import Estimate, Listened, Tone
from stager.report.answer import Answer, Column, Screen, Table, plain
from stager.report.numbers import MISSING, listing
from stager.units import format_quantity
from stager.version import __version__

MAINS = (50.0, 60.0, 100.0, 120.0)
"""Frequencies at which mains hum sounds [Hz]."""
HUM_TOLERANCE = 3e-3
"""A tone this close to one of them may be hum [-]."""


def answer(listened: Listened, seed: int) -> Answer:
    """Return the screen and document; it is a "no" where neither a speed nor a wheel was found."""
    heard = listened.heard
    found = heard.speed.known or heard.flight_time.known or any(tone.turns.known for tone in heard.tones)
    notes = [*_notes(listened), *_row(listened)]
    more = [_knocks(listened)] if heard.knocks else []
    screen = Screen(_headline(listened), [_results(listened)], notes, more_tables=more)
    return Answer(screen, _document(listened, seed), yes=found)


def _document(listened: Listened, seed: int) -> dict[str, Any]:
    heard = listened.heard
    content = {
        "file": listened.file, "recording_sha256": listened.sha256, "duration_s": listened.seconds,
        "knocks": [
            {"time_s": one.time, "standard_uncertainty_s": one.standard_uncertainty, "level_dB": one.level,
             "taken": heard.taken is not None and one in heard.taken}
            for one in heard.knocks
        ],
        "flight_time": _estimate(heard.flight_time, "s"), "speed": _estimate(heard.speed, "m_s"),
        "wheels": [
            {"rpm": _estimate(tone.turns, "rpm", 60.0), "droop": _estimate(tone.droop, "fraction"),
             "recovery": _estimate(tone.recovery, "s"), "harmonics": list(tone.harmonics),
             "searched_rpm": [60 * tone.low, 60 * tone.high], "may_be_mains_hum": _hum(tone, listened.marks)}
            for tone in heard.tones
        ],
        "row": _cells(listened), "stager_version": __version__, "config_sha256": None, "seed": seed,
    }  # fmt: skip
    return {key: plain(value) for key, value in content.items()}


def _estimate(found: Estimate, unit: str, scale: float = 1.0) -> dict[str, Any]:
    """Return a value with its uncertainty, or None and the reason."""
    known = found.value is not None
    return {
        f"value_{unit}": found.value * scale if found.value is not None else None,
        f"standard_uncertainty_{unit}": found.standard_uncertainty * scale if known else None,
        "reason": found.reason or None,
    }


def _shown(found: Estimate, unit: str, scale: float = 1.0) -> str:
    if found.value is None:
        return "cannot tell"
    text = format_quantity(found.value * scale, found.standard_uncertainty * scale, "")
    return f"{text} {unit}" if "±" not in text else f"({text}) {unit}"


def _headline(listened: Listened) -> str:
    heard = listened.heard
    parts = [f"{_shown(heard.speed, 'm/s')} over the flight"] if heard.speed.known else []
    parts += [f"wheel at {_shown(tone.turns, 'rpm', 60.0)}" for tone in heard.tones if tone.turns.known]
    text = listing(parts)
    if not parts:
        return "Neither the speed nor a wheel's rpm was found in the recording."
    return f"{text[:1].upper()}{text[1:]}."


def _results(listened: Listened) -> Table:
    """Return a table with a row for each quantity: its value, or why it was not found."""
    heard = listened.heard
    lines = [("time of flight", heard.flight_time, "ms", 1e3), ("mean speed of flight", heard.speed, "m/s", 1.0)]
    for number, tone in enumerate(heard.tones, 1):
        name = "wheel" if len(heard.tones) == 1 else f"wheel {number}"
        lines += [(f"{name} before the throw", tone.turns, "rpm", 60.0), (f"{name} slows by", tone.droop, "%", 100.0),
                  (f"{name} recovers 90 % in", tone.recovery, "s", 1.0)]  # fmt: skip
    rows = tuple((name, _shown(found, unit, scale), found.reason or MISSING) for name, found, unit, scale in lines)
    columns = Column("what", words=True), Column("heard", words=True), Column("why not", words=True, wraps=True)
    return Table("What the recording tells (value ± standard uncertainty)", columns, rows).without_empty(MISSING)


def _knocks(listened: Listened) -> Table:
    taken = listened.heard.taken or ()
    rows = tuple(
        (
            f"{one.time:.4f}",
            f"{1e3 * one.standard_uncertainty:.2f}",
            f"{one.level:.0f}",
            "taken" if one in taken else "",
        )
        for one in listened.heard.knocks
    )
    return Table(
        "Knocks", (Column("at", "s"), Column("±", "ms"), Column("above noise", "dB"), Column("", words=True)), rows
    )


def _notes(listened: Listened) -> list[str]:
    notes = []
    if listened.heard.speed.known:
        notes.append("The speed is the mean over the flight. Air slows it, so the exit speed was a little higher.")
    if any(_hum(tone, listened.marks) for tone in listened.heard.tones):
        notes.append("A tone at a multiple of 50 or 60 Hz may be mains hum: record once with the wheel off to compare.")
    return notes


def _hum(tone: Tone, marks: int) -> bool:
    """Whether a tone that does not dip may be mains hum."""
    if tone.turns.value is None or tone.droop.known:
        return False
    return any(abs(marks * tone.turns.value / mains - 1) < HUM_TOLERANCE for mains in MAINS)


def _cells(listened: Listened) -> dict[str, str]:
    """Return the cells of this recording for a table of throws, by head."""
    heard, path = listened.heard, listened.path
    cells = {
        f"wheel_{number} [rpm]": f"{60 * tone.turns.value:.0f}"
        for number, tone in enumerate(heard.tones, 1) if tone.turns.value is not None
    }  # fmt: skip
    if heard.flight_time.value is not None and path.distance is not None and path.distance.value is not None:
        cells |= {"flight_time [s]": f"{heard.flight_time.value:.4f}", "distance [m]": f"{path.distance.value:g}"}
    return cells


def _row(listened: Listened) -> list[str]:
    """Return head and row for a table of throws, where speed and a wheel were found."""
    cells = _cells(listened)
    if "flight_time [s]" not in cells or not any(head.startswith("wheel") for head in cells):
        return []
    return ["For a table of throws:", ",".join(cells), ",".join(cells.values())]

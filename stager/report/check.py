"""Hardware and set speeds against limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.hardware.launcher import Launcher
from stager.limits import Verdict
from stager.physics.records import Throw
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import Answer
from stager.report.digits import digits, listing, plural, speed
from stager.report.document import Source, document
from stager.report.table import Screen


def answer(launcher: Launcher, throw: Throw, verdicts: Sequence[Verdict], source: Source) -> Answer:
    """One throw (no batch axes) and the verdicts on it; a broken limit or a jam is a "no"."""
    thrown, rows = throws.summary(launcher, throw), limits.rows(verdicts)
    kept = not thrown["jammed"] and all(row["kept"] for row in rows)
    screen = Screen(
        _headline(launcher, thrown, rows),
        (limits.table(rows, [limits.word(row) for row in rows]), throws.speeds(thrown["stages"])),
    )
    return Answer(screen, document({"kept": kept, "limits": rows, "throw": thrown}, source), yes=kept)


def _headline(launcher: Launcher, thrown: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> str:
    broken = [limits.title(row["name"]) for row in rows if not row["kept"]]
    if thrown["jammed"]:
        return throws.headline(launcher, thrown)
    what = f"{speed(thrown['exit_speed_m_s'])} m/s, {digits(thrown['exit_energy_J'])} J"
    if broken:
        return f"Broken: {listing(broken)} ({len(broken)} of {plural(len(rows), 'limit')}), at {what}."
    return f"All {plural(len(rows), 'limit')} are kept, at {what}."

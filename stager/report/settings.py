"""Many settings, one a row of a table, and what the limits say of each."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from stager.constraints.limit import ROUNDING
from stager.fit.table.columns import habits
from stager.fit.table.reader import cells_of, delimiter_of, filled_lines, text_of
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.judge import Judgements
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import title
from stager.report.numbers import MISSING, listing, plural, speed

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


def answer(launcher: Launcher, settings: Throws, judged: Judgements, source: Provenance) -> Answer:
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
            speed(float(judged.exit_speed[i])), kept[i], _slack(float(judged.slack[i])), title(limit[i]),
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


def results_csv(settings: Throws, judged: Judgements) -> str:
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

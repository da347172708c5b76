"""Fuzzing of tables of throws: an altered table is read, or gives errors at its lines."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np

import stager
from stager.errors import InputErrors
from stager.fit.table.writer import blank
from tests.fuzz.configurations import ROOT, assert_at_a_line, assert_readable

DRIVEN = {
    "stage.drive": {"speed_constant": "1400 rpm/V", "resistance": "60 mohm", "no_load_current": "1.1 A"},
    "supply": {"voltage": "14.8 V", "resistance": "30 mohm"},
}  # fmt: skip
LAUNCHER = stager.load(ROOT / "stager/cli/templates/launcher.toml").replace(DRIVEN).scenario.launcher
HEADS = (
    "throw", "build", "wheel_1 [rpm]", "wheel_2 [rpm]", "wheel_1b [rpm]", "wheel_1 [m/s]",
    "throttle_1 [%]", "wheel_12 [rpm]",
    "exit_speed [m/s]", "exit_speed [km/h]", "exit speed (fps)", "supply [V]", "time [s]",
    "temperature [degC]", "note",
    "wheel_13 [rpm]", "wheel_0 [rpm]", "wheel_99999999 [rpm]", "wheel_1", "exit_speed",
    "exit_sped [m/s]", "", " ", "[rpm]",
    "humidity [%]", "\x1b[2Jnote", "x" * 300, "=cmd()", "exit_speed [m/s]]", "wheel_1 [[rpm]", "build build",
)  # fmt: skip
CELLS = (
    "", " ", "12", "3000", "11.75", "11,75", "1.234,5", "1,234", "1,234.5", "1.234", "-5", "0",
    "-0", "1e3", "1e400", "-1e400",
    "nan", "inf", "-", "n/a", "–", "jam", "A", "é", "''", "'", '"', '""', "=1+1", "@x", "+5", "−5",
    "5 000", "5'000", "5\u202f000",
    "\x1b[2J", "\u202eabc", "\x00", "0x10", "1_000", "١٢", "1" * 400, "9" * 20, "5e-324", "#",
    "12.5.6", "1,2,3", "\ufeff", "\u2028",
)  # fmt: skip
TEXTS = (
    (ROOT / "configs/seed_ball_throws.csv").read_text(encoding="utf-8"),
    blank(2) + "1,A,3000,4000,15.2,14.8,windy\n" * 3,
)


def text(rng: random.Random) -> bytes:
    """Return a table with a few changes."""
    if rng.random() < 0.4:
        lines = rng.choice(TEXTS).split("\n")
        rows = [line.split(",") for line in lines]
    else:
        width = rng.choice((1, 2, 3, 5, 8))
        heads = [rng.choice(HEADS[:15] if rng.random() < 0.9 else HEADS) for _ in range(width)]
        rows = [heads, *([_cell(rng, head) for head in heads] for _ in range(rng.choice((0, 1, 3, 10))))]
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        row = rng.choice(rows)
        place = rng.randrange(len(row)) if row else 0
        match rng.randrange(5):
            case 0 | 1 if row:
                row[place] = rng.choice(CELLS)
            case 2 if row:
                row[place] = rng.choice(HEADS)
            case 3:
                row.insert(place, rng.choice(CELLS))
            case _ if row:
                del row[place]
    mark = rng.choice((",", ",", ";", "\t"))
    found = rng.choice(("\n", "\n", "\r\n", "\r")).join(mark.join(row) for row in rows)
    if rng.random() < 0.2:
        at = rng.randrange(len(found) + 1)
        part = rng.choice(('"', "\n", "#", "sep=;\n", "\x00", "\ufeff", "\x0b", mark * 200, "\n" * 50, "a" * 2000))
        found = found[:at] + part + found[at:]
    data = found.encode(rng.choice(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16")), "surrogatepass")
    if data and rng.random() < 0.03:
        at = rng.randrange(len(data))
        data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
    return data


def _cell(rng: random.Random, head: str) -> str:
    if rng.random() < 0.08:
        return rng.choice(CELLS)
    if head in ("build", "note"):
        return rng.choice(("A", "B", "", "windy"))
    return f"{rng.choice((1, 30, 3000)) * rng.random():.4g}"


def judge(path: Path) -> str:
    """Read a table; return "accepted" or "refused", raise if it gives anything but throws or errors at its lines."""
    from stager.fit.table import read

    lines = path.read_bytes().replace(b"\r\n", b"\n").replace(b"\r", b"\n").count(b"\n") + 1
    try:
        throws = read(path, LAUNCHER)
    except InputErrors as found:
        for error in found.errors:
            assert_readable(error)
            if error.message != "holds no table":
                assert_at_a_line(error, path, lines)
        return "refused"
    assert np.isfinite(throws.exit_speed).all()
    assert ((throws.exit_speed >= 0) & (throws.exit_speed <= 3000)).all()
    assert throws.settings.shape == (len(throws),)
    for stage in np.flatnonzero(throws.present.all(axis=0)) if len(throws) else ():
        speeds = throws.surface_speed(LAUNCHER, [int(stage)], 0)
        assert (speeds >= 0).all()
    return "accepted"

"""Fuzzing of commands: altered configurations give a promised status and intended messages on stderr."""

from __future__ import annotations

import random
from pathlib import Path

from tests.cli.run import stager
from tests.fuzz import configurations

COMMANDS = (
    ("check",), ("check", "--speed", "9"), ("throw", "--speed", "9", "--speed", "14"), ("sweep",),
    ("sweep", "--stage", "2"),
    ("plan", "--draws", "0", "--seconds", "1"), ("worth", "--draws", "20", "--seconds", "1"),
    ("plan", "--draws", "20", "--seconds", "1", "--json"),
)  # fmt: skip


def text(rng: random.Random) -> bytes:
    """Return an altered configuration whose first line selects the command."""
    return f"# {rng.randrange(len(COMMANDS))}\n".encode() + configurations.text(rng)


def judge(path: Path) -> str:
    """Run the command; return "accepted" or "refused", raise on a fault."""
    try:
        number = int(path.read_bytes()[2:4]) % len(COMMANDS)
    except ValueError:
        number = 0
    name, *given = COMMANDS[number]
    ran = stager(name, str(path), *given)
    assert ran.status in (0, 1, 2), ran.err
    assert "Warning" not in ran.err
    assert (ran.err == "") == (ran.status != 2), ran.err
    assert "nan" not in ran.out.lower().split(), ran.out
    return "refused" if ran.status == 2 else "accepted"

"""Fuzzing of the installed command: `python -m stager` in a child process on altered files, options and interrupts."""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from stager.errors import CONTROL_CHARACTERS
from tests.cli.run import restore_interrupt_signal
from tests.fuzz import configurations, tables

CONFIG, TABLE = "c.toml", "t.csv"
COMMANDS = (
    ("check", CONFIG), ("check", CONFIG, "--speed", "9"), ("check", CONFIG, "--settings", TABLE, "-o", "results.csv"),
    ("throw", CONFIG, "--speed", "9", "--speed", "14"), ("sweep", CONFIG), ("sweep", CONFIG, TABLE),
    ("plan", CONFIG, "--draws", "0", "--seconds", "1", "-o", "planned.toml"),
    ("plan", CONFIG, "--draws", "20", "--seconds", "1", "--json"), ("worth", CONFIG, "--draws", "0", "--seconds", "1"),
    ("fit", CONFIG, TABLE, "-o", "fitted.toml"), ("next", CONFIG, TABLE),
    ("compare", CONFIG, TABLE, "--builds", "A", "B"),
    ("report", CONFIG, TABLE, "-o", "page.html"), ("report", CONFIG), ("motor", CONFIG), ("card", CONFIG),
    ("draw", CONFIG, "-o", "plate.dxf"), ("explain",),
)  # fmt: skip
WITH_TABLE = frozenset(number for number, given in enumerate(COMMANDS) if TABLE in given)
OPTIONS = (
    "--set", "--speed", "--seed", "--workers", "--draws", "--stage", "--stages", "--build", "--throws", "--trade",
    "--seconds", "-o", "--rate", "--within",
)  # fmt: skip
KEYS = ("limits.stages", "stage.wheel.radius", "feed.rate", "stage.speed", "projectile.mass", "no.such", "", "stages")
INTERRUPTED = 0.05
"""Share of runs that are interrupted."""
BAD_INPUT_SECONDS = 5.0
"""Longest processor time until input is refused, start of Python included [s]."""
ANSWER_SECONDS = 60.0
"""Longest processor time of an answer [s]: a search, a fit or a page of several stages takes some seconds."""
CLOCK_SECONDS = 240.0
"""Longest time by the clock, on a busy machine [s]."""
MOST_MEMORY = 2**30
"""Largest resident memory [B]."""
NO_LINE = ("the file is empty", "is longer than", "holds no ", "no throw ", "a fit needs at least ")
"""Beginnings of messages on a file as a whole."""


@dataclass(frozen=True)
class Case:
    """A command with its files, and the time after which it is interrupted [s]; None: it is not."""

    arguments: tuple[str, ...]
    files: dict[str, bytes]
    interrupt: float | None

    @property
    def options(self) -> bool:
        """Whether options were drawn too, whose errors name the option."""
        return self.arguments not in COMMANDS


@dataclass(frozen=True)
class Outcome:
    """How a run ended: exit status, output, processor time [s], largest resident memory [B]."""

    status: int
    out: str
    err: str
    seconds: float
    memory: int


def draw(rng: random.Random) -> Case:
    """Draw a command, alter its files or options, and at times interrupt it."""
    number = rng.randrange(len(COMMANDS))
    arguments, files = COMMANDS[number], {CONFIG: rng.choice(configurations.TEXTS).encode()}
    altered = rng.random()
    if number in WITH_TABLE:
        files[TABLE] = tables.TEXTS[0].encode() if altered < 0.5 else tables.text(rng)
    if number not in WITH_TABLE or altered < 0.6:
        files[CONFIG] = configurations.text(rng)
    if rng.random() < 0.2:
        arguments = (*arguments, *_option(rng))
    return Case(arguments, files, rng.uniform(0.02, 2.0) if rng.random() < INTERRUPTED else None)


def _option(rng: random.Random) -> tuple[str, ...]:
    name = rng.choice(OPTIONS)
    text = str(rng.choice(configurations.HOSTILE)).replace("\x00", "")[:300]
    if name == "--set":
        return name, f"{rng.choice(KEYS)}{rng.choice(('=', '=', ''))}{text}"
    # What is written stays in the folder of the run.
    return name, re.sub(r"[/\\]", "", text) if name == "-o" else text


def run(case: Case, folder: Path) -> Outcome:
    """Run a case in `folder`; raise TimeoutError where it does not end."""
    for name, data in case.files.items():
        (folder / name).write_bytes(data)
    with (folder / "out").open("w+b") as out, (folder / "err").open("w+b") as err:
        child = subprocess.Popen(
            [sys.executable, "-m", "stager", *case.arguments], cwd=folder, stdin=subprocess.DEVNULL, stdout=out,
            stderr=err, env={**os.environ, "NO_COLOR": "1"}, preexec_fn=restore_interrupt_signal,
        )  # fmt: skip
        status, used = _wait(child, case.interrupt)
        out.seek(0)
        err.seek(0)
        return Outcome(
            os.waitstatus_to_exitcode(status), out.read().decode(), err.read().decode(),
            used.ru_utime + used.ru_stime, 1024 * used.ru_maxrss,
        )  # fmt: skip


def _wait(child: subprocess.Popen[bytes], interrupt: float | None) -> tuple[int, os.struct_rusage]:
    began, sent = time.monotonic(), interrupt is None
    while True:
        ended, status, used = os.wait4(child.pid, os.WNOHANG)
        if ended:
            child.returncode = os.waitstatus_to_exitcode(status)
            return status, used
        passed = time.monotonic() - began
        if not sent and interrupt is not None and passed > interrupt:
            sent = True
            child.send_signal(signal.SIGINT)
        if passed > CLOCK_SECONDS:
            child.kill()
            child.wait()
            raise TimeoutError(f"no end after {CLOCK_SECONDS:.0f} s")
        time.sleep(0.02)


def judge(case: Case, done: Outcome, folder: Path) -> str:
    """Return "accepted", "refused" or "interrupted"; raise where the outcome is none that is promised."""
    assert done.status in (0, 1, 2, *(() if case.interrupt is None else (130,))), f"{done.status}: {done.err[-300:]}"
    for word in ("Traceback", "Warning", "fault in stager"):
        assert word not in done.err, done.err[-300:]
    assert not CONTROL_CHARACTERS.search(done.err.replace("\n", "")), done.err[-300:]
    assert done.memory <= MOST_MEMORY, f"{done.memory / 2**20:.0f} MiB"
    left = {path.name for path in folder.iterdir()} - {*case.files, "out", "err"}
    assert not any(name.startswith(".") or name.endswith("~") for name in left), f"left behind: {left}"
    if done.status == 130:
        assert done.out == "" or not done.out.startswith("{"), done.out
        return "interrupted"
    assert done.seconds <= (BAD_INPUT_SECONDS if done.status == 2 else ANSWER_SECONDS), f"{done.seconds:.1f} s"
    if done.status == 2:
        assert done.out == "", done.out
        _assert_places(case, done.err)
        return "refused"
    assert done.err == "", done.err[-300:]
    assert "nan" not in done.out.lower().split(), done.out
    return "accepted"


def _assert_places(case: Case, err: str) -> None:
    """Check that every error names its file and line, or the option at fault."""
    assert err.strip()
    if err.startswith("Usage:"):
        assert case.options or case.arguments == ("explain",), err
        return
    for block in err.strip().split("\n\n"):
        if block.startswith(("hint: ", "and ")):
            continue
        place = re.match(r"(c\.toml|t\.csv)(:\d+)?: (.*)", block)
        if place is None:
            assert case.options, block
            assert block.startswith("-") or ": " in block, block
        else:
            assert place[2] is not None or place[3].startswith(NO_LINE), block

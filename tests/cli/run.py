"""Runs the command line in this process."""

from __future__ import annotations

import io
import signal
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from stager.cli.app import app

ROOT = Path(__file__).parents[2]
TEMPLATE = ROOT / "stager" / "cli" / "templates" / "launcher.toml"


def hears_interrupts() -> None:
    """Run in a child before its program: Ctrl-C ends it, also where this process was started in the background."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@dataclass(frozen=True, slots=True)
class Ran:
    """What a command left behind."""

    status: int
    out: str
    err: str


def stager(*arguments: str, typed: str = "", encoding: str = "utf-8") -> Ran:
    """Run `stager ARGUMENTS` with `typed` on its standard input, and streams in `encoding`, none of them a terminal."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding, errors=errors) for errors in ("strict", "backslashreplace"))
    with redirect_stdout(out), redirect_stderr(err), mock.patch("sys.stdin", io.StringIO(typed)):
        try:
            status = app(list(arguments), prog_name="stager")
        except SystemExit as stop:
            status = stop.code
    out.flush()
    err.flush()
    return Ran(int(status or 0), *(stream.buffer.getvalue().decode(encoding) for stream in (out, err)))

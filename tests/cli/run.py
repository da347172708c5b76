"""Run the command line in this process and capture its output."""

from __future__ import annotations

import io
import json
import signal
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from stager.cli.app import app

ROOT = Path(__file__).parents[2]
TEMPLATE = ROOT / "stager" / "cli" / "templates" / "launcher.toml"


def restore_interrupt_signal() -> None:
    """Restore the default SIGINT action in a child process, in case this process runs in the background."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@dataclass(frozen=True, slots=True)
class Completed:
    """Exit status and output of a command."""

    status: int
    out: str
    err: str


def stager(*arguments: str, typed: str = "", encoding: str = "utf-8") -> Completed:
    """Run `stager ARGUMENTS` with `typed` on its standard input, and streams in `encoding`, none of them a terminal."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding, errors=errors) for errors in ("strict", "backslashreplace"))
    with redirect_stdout(out), redirect_stderr(err), mock.patch("sys.stdin", io.StringIO(typed)):
        try:
            status = app(list(arguments), prog_name="stager")
        except SystemExit as stop:
            status = stop.code
    out.flush()
    err.flush()
    return Completed(int(status or 0), *(stream.buffer.getvalue().decode(encoding) for stream in (out, err)))


def document(*arguments: str, status: int = 0) -> dict[str, Any]:
    """Run `stager ARGUMENTS --json`, check its status and return the JSON document."""
    ran = stager(*arguments, "--json")
    assert (ran.status, ran.err) == (status, "")
    found = json.loads(ran.out)
    assert isinstance(found, dict)
    return found

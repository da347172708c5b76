"""Run the command in a pseudo-terminal: type keys, wait for output, kill."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Sequence
from pathlib import Path

from tests.cli.run import ROOT, restore_interrupt_signal

FEW_DRAWS = """
from stager.cli import main
from tests.sharing import few_draws
with few_draws():
    main()
"""
"""`python -m stager`, with few draws."""
MAX_WAIT = 90.0
"""Longest wait for an output or an exit [s]."""
ENVIRONMENT = {key: value for key, value in os.environ.items() if key not in ("FORCE_COLOR", "CLICOLOR_FORCE")}


class Terminal:
    """`python -m stager ...` with a terminal of 80 columns; its unread output is in `seen`.

    piped: standard output is a pipe, `process.stdout`, in place of the terminal; few: with few draws.
    """

    def __init__(
        self, arguments: Sequence[str], folder: Path, *, piped: bool = False, few: bool = False, **changed: str
    ) -> None:
        self.seen = ""
        self.own, other = pty.openpty()
        termios.tcsetwinsize(other, (40, 80))
        environment = {**ENVIRONMENT, "NO_COLOR": "1", "TERM": "dumb", "PYTHONPATH": str(ROOT), **changed}
        self.process = subprocess.Popen(
            [sys.executable, *(["-c", FEW_DRAWS] if few else ["-m", "stager"]), *arguments],
            stdin=other, stdout=subprocess.PIPE if piped else other, stderr=other, cwd=folder, env=environment,
            start_new_session=True, preexec_fn=_set_controlling_terminal,
        )  # fmt: skip
        os.close(other)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *ended: object) -> None:
        self.kill()
        os.close(self.own)
        if self.process.stdout is not None:
            self.process.stdout.close()

    def send(self, text: str) -> None:
        """Type the text."""
        os.write(self.own, text.encode())

    def expect(self, pattern: str) -> re.Match[str]:
        """Wait until the pattern appears in the unread output; mark the output up to its end as read."""
        until = time.monotonic() + MAX_WAIT
        while not (found := re.search(pattern, self.seen)):
            if time.monotonic() > until or not self._read(until - time.monotonic()):
                raise AssertionError(f"{pattern!r} did not appear; unread output: {self.seen[-2000:]}")
        self.seen = self.seen[found.end() :]
        return found

    def end(self) -> int:
        """Wait until the process ends; return its exit status."""
        while self._read(MAX_WAIT):
            pass
        return self.process.wait(MAX_WAIT)

    def kill(self) -> None:
        """Kill the process (SIGKILL)."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def _read(self, seconds: float) -> bool:
        """Read more output; return False after a time-out or at its end."""
        ready, _, _ = select.select([self.own], [], [], max(seconds, 0.0))
        if not ready:
            return False
        try:
            chunk = os.read(self.own, 65536)
        except OSError:
            return False
        self.seen += chunk.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(chunk)


def _set_controlling_terminal() -> None:
    """Make standard input the controlling terminal, so that Ctrl-C reaches the process."""
    restore_interrupt_signal()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)

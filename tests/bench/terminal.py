"""A program in a pseudo-terminal."""

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

from tests.cli.run import ROOT, hears_interrupts

PATIENCE = 90.0
ENVIRONMENT = {key: value for key, value in os.environ.items() if key not in ("FORCE_COLOR", "CLICOLOR_FORCE")}


class Terminal:
    """`python -m stager ...` with a terminal of 80 columns; what it shows is in `seen`."""

    def __init__(self, arguments: Sequence[str], folder: Path, **changed: str) -> None:
        self.seen = ""
        self.own, other = pty.openpty()
        termios.tcsetwinsize(other, (40, 80))
        environment = {**ENVIRONMENT, "NO_COLOR": "1", "TERM": "dumb", "PYTHONPATH": str(ROOT), **changed}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "stager", *arguments],
            stdin=other, stdout=other, stderr=other, cwd=folder, env=environment, start_new_session=True,
            preexec_fn=_own_terminal,
        )  # fmt: skip
        os.close(other)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *ended: object) -> None:
        self.kill()
        os.close(self.own)

    def send(self, text: str) -> None:
        """Type."""
        os.write(self.own, text.encode())

    def expect(self, pattern: str) -> re.Match[str]:
        """Wait for a pattern in what has not been read yet; what comes up to its end is read then."""
        until = time.monotonic() + PATIENCE
        while not (found := re.search(pattern, self.seen)):
            if time.monotonic() > until or not self._read(until - time.monotonic()):
                raise AssertionError(f"{pattern!r} did not come; seen: {self.seen[-2000:]}")
        self.seen = self.seen[found.end() :]
        return found

    def end(self) -> int:
        """Wait for the end, and return the exit status."""
        while self._read(PATIENCE):
            pass
        return self.process.wait(PATIENCE)

    def kill(self) -> None:
        """End it without any warning."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def _read(self, seconds: float) -> bool:
        """More of what it shows; False where it has ended."""
        ready, _, _ = select.select([self.own], [], [], max(seconds, 0.0))
        if not ready:
            return False
        try:
            chunk = os.read(self.own, 65536)
        except OSError:
            return False
        self.seen += chunk.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(chunk)


def _own_terminal() -> None:
    """Make its input the terminal that keys such as Ctrl-C act through."""
    hears_interrupts()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)

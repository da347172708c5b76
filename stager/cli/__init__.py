"""The command line: one thin file a command, a session that holds streams and switches, one catch of errors."""

from __future__ import annotations


def main() -> None:
    """Entry point of the `stager` script."""
    import os
    import signal

    def leave(*given: object) -> None:
        os.write(2, b"interrupted; nothing was written\n")
        os._exit(130)

    # First of all: Ctrl-C while the rest is loaded.
    if signal.getsignal(signal.SIGINT) != signal.SIG_IGN:
        signal.signal(signal.SIGINT, leave)
    from stager.cli import process

    process.run()

"""The command line: one thin function a command, a session with streams and switches, one place that catches errors."""

from __future__ import annotations


def main() -> None:
    """Run the `stager` script and end the process."""
    import os
    import signal

    def leave(*given: object) -> None:
        os.write(2, b"interrupted; nothing was written\n")
        os._exit(130)

    # Before anything else is imported, so that Ctrl-C ends the process without a traceback.
    if signal.getsignal(signal.SIGINT) != signal.SIG_IGN:
        signal.signal(signal.SIGINT, leave)
    from stager.cli import process

    process.run()

"""The command line: one thin file a command, a session that holds streams and switches, one catch of errors."""

from __future__ import annotations


def main() -> None:
    """Entry point of the `stager` script."""
    from stager.cli.app import app

    app(prog_name="stager")

"""The process around a command: signals, streams and the exit status, from the first moment to the last."""

from __future__ import annotations

import os
import signal
import sys
import threading
import warnings
from contextlib import suppress
from types import FrameType
from typing import NoReturn, TextIO

from stager.errors import ExitStatus

LEAST_WIDTH = 72
"""Columns that a screen takes at least, whatever the terminal says that it has."""


class _Interruption:
    """Whether Ctrl-C came: a library may turn the KeyboardInterrupt into an error of its own."""

    came = False


def run() -> NoReturn:
    """Run the command that the process was started with, and end the process with its status."""
    _open_closed_streams()
    if not sys.warnoptions:
        # What a warning is about is a statement of the answer, or an error.
        warnings.simplefilter("ignore")
    status = int(ExitStatus.FAULT)
    try:
        status = _call()
    except KeyboardInterrupt:
        status = ExitStatus.INTERRUPTED
    finally:
        on_interrupt(signal.SIG_IGN)
    sys.exit(_flushed(status))


def _call() -> int:
    try:
        from stager.cli.app import app
    except ImportError as error:
        say(broken_installation(error))
        return ExitStatus.FAULT
    try:
        app(prog_name="stager")
    except SystemExit as stop:
        # What the parser does itself (help, version) ends with 1 where nobody reads on.
        gone = type(sys.stdout).__name__ == "PacifyFlushWrapper"
        return ExitStatus.DONE if gone else stop.code if isinstance(stop.code, int) else 0
    except ImportError as error:
        say(broken_installation(error))
        return ExitStatus.FAULT
    except OSError as error:
        return unwritable(error)
    return ExitStatus.DONE


def on_interrupt(handler: object) -> None:
    """Let Ctrl-C do something else, unless whoever started the process said that it does nothing."""
    if threading.current_thread() is threading.main_thread() and signal.getsignal(signal.SIGINT) != signal.SIG_IGN:
        signal.signal(signal.SIGINT, handler)  # type: ignore[arg-type]


def raise_interrupts() -> None:
    """From now on Ctrl-C raises KeyboardInterrupt, and `interrupted` says that it came."""
    _Interruption.came = False
    on_interrupt(_raise)


def interrupted() -> bool:
    """Whether Ctrl-C came since `raise_interrupts`."""
    return _Interruption.came


def _raise(number: int, frame: FrameType | None) -> None:
    _Interruption.came = True
    raise KeyboardInterrupt


def _open_closed_streams() -> None:
    """Point standard streams that are closed to nowhere: a file that is opened must not take their number."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115


def _flushed(status: int) -> int:
    """The status, once all is written; nothing is left that could fail later."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        drop(sys.stdout)
    except (OSError, ValueError) as error:
        drop(sys.stdout)
        status = unwritable(error)
    with suppress(OSError, ValueError):
        sys.stderr.flush()
    return status


def drop(stream: TextIO) -> None:
    """Let what is still in a stream's buffer go nowhere, so that it does not fail at exit."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def unwritable(error: Exception) -> ExitStatus:
    """Say that standard output cannot be written, and return the status of that."""
    reason = getattr(error, "strerror", None) or str(error)
    say(f"standard output cannot be written: {reason.lower()}")
    return ExitStatus.BAD_INPUT


def broken_installation(error: ImportError) -> str:
    """Return what to say where a part of the program or of a library is missing."""
    return f"stager is not installed whole ({error}): install it anew, as with pip install --force-reinstall stager"


def say(*lines: str) -> None:
    """Write to stderr, where there is one that takes it."""
    with suppress(OSError, ValueError):
        sys.stderr.write("\n".join(lines) + "\n")
        sys.stderr.flush()

"""The process around a command: signals, standard streams, exit status."""

from __future__ import annotations

import gc
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
"""Least width of a screen, however narrow the terminal [characters]."""
AGAIN = 1.0
"""Time after which an interruption is raised once more [s]: libraries that look for attributes drop exceptions."""


class _Interruption:
    """Whether Ctrl-C came: a library may turn the KeyboardInterrupt into an error of its own."""

    came = False


def run() -> NoReturn:
    """Run the command that the process was started with, and end the process with its status."""
    # What is imported lives as long as the process: collecting among it takes a tenth of a short command.
    gc.set_threshold(50_000)
    _open_closed_streams()
    if not sys.warnoptions:
        # Whatever matters to the user is in the answer or an error.
        warnings.simplefilter("ignore")
    status = int(ExitStatus.FAULT)
    try:
        status = _call()
    except KeyboardInterrupt:
        status = ExitStatus.INTERRUPTED
    finally:
        end_interrupts()
        on_interrupt(signal.SIG_IGN)
    status = _flushed(status)
    if status == ExitStatus.INTERRUPTED:
        os._exit(status)  # Threads may still be at work, and nobody wants their answer.
    sys.exit(status)


def _call() -> int:
    try:
        from stager.cli.app import app
    except ImportError as error:
        say(broken_installation(error))
        return ExitStatus.FAULT
    try:
        app(prog_name="stager")
    except SystemExit as stop:
        # Help and version end with 1 where the reader of stdout has closed it.
        gone = type(sys.stdout).__name__ == "PacifyFlushWrapper"
        return ExitStatus.DONE if gone else stop.code if isinstance(stop.code, int) else 0
    except ImportError as error:
        say(broken_installation(error))
        return ExitStatus.FAULT
    except OSError as error:
        return unwritable(error)
    return ExitStatus.DONE


def on_interrupt(handler: object) -> None:
    """Set the handler of Ctrl-C, unless the parent process set it to be ignored."""
    if threading.current_thread() is threading.main_thread() and signal.getsignal(signal.SIGINT) != signal.SIG_IGN:
        signal.signal(signal.SIGINT, handler)  # type: ignore[arg-type]


def raise_interrupts() -> None:
    """Make Ctrl-C raise KeyboardInterrupt and `interrupted` return True."""
    _Interruption.came = False
    on_interrupt(_raise)


def interrupted() -> bool:
    """Whether Ctrl-C came since `raise_interrupts`."""
    return _Interruption.came


def _raise(number: int, frame: FrameType | None) -> None:
    _Interruption.came = True
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, _raise)
        signal.setitimer(signal.ITIMER_REAL, AGAIN)
    raise KeyboardInterrupt


def end_interrupts() -> None:
    """Raise no interruption once more: it has arrived."""
    if _Interruption.came and hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0.0)


def _open_closed_streams() -> None:
    """Open closed standard streams on the null device, so that no other file gets their number."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115


def _flushed(status: int) -> int:
    """Write what is buffered and return the exit status, which a failure to write changes."""
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
    """Discard what is buffered in a stream, so that writing it does not fail at exit."""
    with suppress(OSError, ValueError):
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, stream.fileno())
        os.close(null)


def unwritable(error: Exception) -> ExitStatus:
    """Report on stderr that standard output cannot be written, and return the exit status for it."""
    reason = getattr(error, "strerror", None) or str(error)
    say(f"standard output cannot be written: {reason.lower()}")
    return ExitStatus.BAD_INPUT


def broken_installation(error: ImportError) -> str:
    """Return the message for a missing part of the program or of a library."""
    return f"the installation of stager is incomplete ({error}): pip install --force-reinstall stager"


def say(*lines: str) -> None:
    """Write lines to stderr; a failure to write is ignored."""
    with suppress(OSError, ValueError):
        sys.stderr.write("\n".join(lines) + "\n")
        sys.stderr.flush()

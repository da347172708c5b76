"""The session of a command: its switches, where answers go, and the one place that turns errors into exit statuses."""

from __future__ import annotations

import errno
import io
import os
import sys
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from stager.cli import process
from stager.errors import ExitStatus, InputError, InputErrors, NotComputable, StagerError, printable
from stager.files import forget_written, written
from stager.physics.announcement import on_compiling

if TYPE_CHECKING:
    from rich.console import Console

    from stager.api import Loaded
    from stager.report.answer import Answer

TRACEBACK_SWITCH = "STAGER_TRACEBACK"
"""Environment variable that shows the traceback of a fault."""
COMPILING = "Preparing the contact model for this computer, once: about 20 seconds ..."
UNWRITABLE = (errno.ENOSPC, errno.EIO, errno.EDQUOT)
"""Errors of the system where standard output cannot be written."""
MOST_ERRORS = 40
"""Greatest number of errors of a file that are shown."""


def forgiving(stream: TextIO) -> TextIO:
    """Return the stream, set to replace characters that it cannot encode."""
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")
    return stream


def console(stream: TextIO) -> Console:
    """Return a console without markup, at least `process.LEAST_WIDTH` wide, that raises BrokenPipeError."""
    import rich.console

    class Console(rich.console.Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    found = Console(file=stream, markup=False, highlight=False, emoji=False)
    found.width = max(found.width, process.LEAST_WIDTH) if found.width > 0 else 80
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Switches that all commands share. stdout carries the answer only, everything else goes to stderr.

    json: one JSON document in place of the screen; quiet: the headline alone, no progress; full: the full screen;
    seed: of all random draws; workers: threads that share the work, None: two; changes:
    values in place of the configuration's, as "key=value"; files: configurations loaded so far.
    """

    json: bool = False
    quiet: bool = False
    full: bool = False
    seed: int = 0
    workers: int | None = None
    changes: tuple[str, ...] = ()
    files: list[Path] = field(default_factory=list)

    def load(self, path: Path) -> Loaded:
        """Load a configuration, with the values of `changes` in place of its own. Raises InputError, InputErrors."""
        from stager import api

        self.files.append(path)
        return api.load(path, dict(_change(text) for text in self.changes))

    def run(self, command: Callable[[], Answer | None]) -> ExitStatus:
        """Run a command, show its answer or error, and return the exit status."""
        process.raise_interrupts()
        forget_written()
        on_compiling(None if self.quiet else self._compiling)
        try:
            return self._show(command())
        except StagerError as error:
            process.end_interrupts()
            if error.exit_status is ExitStatus.FAULT:
                return self._fault(error)
            if isinstance(error, NotComputable) and not error.where and self.files:
                error = NotComputable(error.message, where=str(self.files[0]))
            process.say(*_lines(error))
            return error.exit_status
        except KeyboardInterrupt:
            return self._interrupted()
        except BrokenPipeError:
            process.drop(sys.stdout)
            return ExitStatus.DONE
        except Exception as error:
            if process.interrupted():
                return self._interrupted()
            if isinstance(error, OSError) and error.errno in UNWRITABLE:
                process.drop(sys.stdout)
                return process.unwritable(error)
            return self._fault(error)

    def _interrupted(self) -> ExitStatus:
        process.end_interrupts()
        files = ", ".join(printable(str(path)) for path in written())
        process.say(f"interrupted; {files} was written before" if files else "interrupted; nothing was written")
        return ExitStatus.INTERRUPTED

    def warn_of_scheduler(self, scheduler: str | None) -> None:
        """Warn on stderr that the scheduler of a cluster is trusted."""
        if scheduler is not None and not self.quiet:
            process.say(f"The scheduler at {printable(scheduler)} is trusted: what it sends back can run code here.")

    @contextmanager
    def busy(self, doing: str) -> Iterator[None]:
        """Show on stderr what is being done and for how long, where that is a terminal."""
        if self.quiet or not sys.stderr.isatty():
            yield
            return
        from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

        columns = (SpinnerColumn("line"), TextColumn("{task.description}"), TimeElapsedColumn())
        with Progress(*columns, console=console(sys.stderr), transient=True) as bar:
            bar.add_task(doing, total=None)
            yield

    def _compiling(self) -> None:
        if sys.stderr.isatty():
            process.say(COMPILING)

    def _show(self, answer: Answer | None) -> ExitStatus:
        if answer is None:
            return ExitStatus.DONE
        try:
            self._print(answer, sys.stderr if answer.screen_to_stderr else sys.stdout)
            sys.stdout.flush()
        except BrokenPipeError:
            # The reader has closed the pipe; what is still buffered must not fail at exit.
            process.drop(sys.stdout)
        except OSError as error:
            process.drop(sys.stdout)
            return process.unwritable(error)
        return ExitStatus.DONE if answer.yes else ExitStatus.ANSWER_IS_NO

    def _print(self, answer: Answer, stream: TextIO) -> None:
        unicode = (stream.encoding or "").lower().startswith("utf")
        if self.json or answer.screen is None:
            from stager.report import answer as document

            stream.write(document.json_text(answer.document, ascii_only=not unicode) + "\n")
            return
        from stager.report import terminal

        forgiving(stream)
        show = terminal.render_headline if self.quiet else terminal.render_screen
        screen = answer.shown if unicode else terminal.ascii_screen(answer.shown)
        console(stream).print(show(screen, ascii_only=not unicode, full=self.full))

    def _fault(self, error: Exception) -> ExitStatus:
        if os.environ.get(TRACEBACK_SWITCH):
            raise error
        if isinstance(error, ImportError):
            process.say(process.broken_installation(error))
            return ExitStatus.FAULT
        process.say(
            f"stager failed, which is a fault in stager: {type(error).__name__}: {printable(str(error))}",
            "",
            f"hint: set {TRACEBACK_SWITCH}=1 to see the traceback",
        )
        return ExitStatus.FAULT


def _change(text: str) -> tuple[str, object]:
    """Return key and value of "key=value"; the value is a TOML value where it reads as one, else text."""
    key, equals, value = text.partition("=")
    key, value = key.strip(), value.strip()
    if not equals or not key or not value:
        raise InputError(
            f"takes KEY=VALUE (got {text!r})", where="--set",
            hint='--set limits.stages=2, --set "stage.wheel.radius=45 mm"',
        )  # fmt: skip
    try:
        return key, tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return key, value


def _lines(error: StagerError) -> list[str]:
    """Return the lines of an error: `where: message`, blank line, hint; several one after the other."""
    if isinstance(error, InputErrors):
        parts = [_lines(one) for one in error.errors[:MOST_ERRORS]]
        more = len(error.errors) - len(parts)
        last = ["", f"and {more} more like these"] if more else []
        return [line for i, part in enumerate(parts) for line in ([""] if i else []) + part] + last
    hint = error.hint if isinstance(error, InputError) else ""
    return [str(error), *(["", f"hint: {hint}"] if hint else [])]

"""Checks of output files before the work begins, and the progress bar on stderr."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from stager.cli.session import Session
from stager.errors import InputError
from stager.files import STDOUT, check_place, replace_all


def to_stdout(output: Path | None) -> bool:
    """Whether `output` is standard output."""
    return output is not None and str(output) in STDOUT


def check_outputs(
    session: Session, outputs: Sequence[Path | None], inputs: Sequence[Path], resume: Path | None = None,
    *, force: bool = False,
) -> None:  # fmt: skip
    """Check that outputs can be written and replace neither an input, nor each other, nor a file of the user.

    Parameters
    ----------
    outputs : sequence of Path or None
        Files to be written.
    inputs : sequence of Path
        Files that the command reads.
    resume : Path, optional
        File that the command both reads and adds to.
    force : bool
        Files of the user may be replaced.

    Raises
    ------
    InputError
        For the first output that fails the check.
    """
    if resume is not None:
        _check_resume(resume, inputs)
    seen = [*inputs, *([] if resume is None else [resume])]
    for output in outputs:
        if output is None:
            continue
        if to_stdout(output) and session.json:
            message = "standard output would hold both the file and the JSON document"
            raise InputError(message, where="-o", hint="leave out --json, or name a file")
        check_place(output, inputs=seen, force=force)
        seen.append(output)


def _check_resume(resume: Path, inputs: Sequence[Path]) -> None:
    for other in inputs:
        if resume.resolve() == other.resolve():
            message = "is an input of the same command, so finished parts cannot be kept there"
            raise InputError(message, where=str(resume), hint="name another file for --resume")


def check_new(paths: Sequence[Path]) -> None:
    """Raise InputError where one of the files exists."""
    for path in paths:
        if path.exists() or path.is_symlink():
            raise InputError("exists already and is left as it is", where=str(path), hint="choose another directory")


def write_new(texts: Mapping[Path, str]) -> None:
    """Write files that must not exist yet. Raises InputError before anything is written."""
    check_new(list(texts))
    replace_all({path: text.encode() for path, text in texts.items()})


EARLY = 0.02
"""Share done below which no time left is shown [-]."""


@contextmanager
def progress(session: Session, doing: str, *, at_once: bool = True) -> Iterator[Callable[[float], None]]:
    """Show a progress bar on stderr, where that is a terminal, and yield the function that updates it.

    at_once: show it at once, else at the first update. The bar runs in a thread, and worker processes must be started
    before any thread.
    """
    if session.quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, ProgressColumn, SpinnerColumn, Task, TextColumn
    from rich.text import Text

    class Left(ProgressColumn):
        """Time left, counted down from the last estimate."""

        def render(self, task: Task) -> Text:
            estimate, spent = task.fields["estimate"], task.elapsed or 0.0
            return Text("" if estimate is None else left(estimate - spent))

    columns = (SpinnerColumn("line"), TextColumn("{task.description}"), BarColumn(), Left())
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    task, began = bar.add_task(doing, total=1.0, estimate=None), time.monotonic()

    def tell(share: float) -> None:
        bar.start()
        estimate = (time.monotonic() - began) / share if share > EARLY else None
        bar.update(task, completed=share, estimate=estimate)

    try:
        if at_once:
            bar.start()
        yield tell
    finally:
        bar.stop()


def left(seconds: float) -> str:
    """Return the time left in words.

    >>> left(0.2), left(7.6), left(95)
    ('nearly done', 'about 8 s left', 'about 2 min left')
    """
    if seconds < 1:
        return "nearly done"
    return f"about {seconds:.0f} s left" if seconds < 90 else f"about {seconds / 60:.0f} min left"

"""A bar on stderr with the time left, where that is a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from stager.cli.session import Session

EARLY = 0.02
"""Below this share a rate would be a guess."""


@contextmanager
def progress(session: Session, doing: str, *, at_once: bool = True) -> Iterator[Callable[[float], None]]:
    """A function that takes the share that is done.

    at_once: the bar is there from now on, else from the first share on: it is drawn by a thread, and processes that
    are to share the work are begun before that.
    """
    if session.quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, ProgressColumn, SpinnerColumn, Task, TextColumn
    from rich.text import Text

    class Left(ProgressColumn):
        """Counts down from the last estimate."""

        def render(self, task: Task) -> Text:
            whole, spent = task.fields["whole"], task.elapsed or 0.0
            return Text("" if whole is None else left(whole - spent))

    columns = (SpinnerColumn("line"), TextColumn("{task.description}"), BarColumn(), Left())
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    task, began = bar.add_task(doing, total=1.0, whole=None), time.monotonic()

    def tell(share: float) -> None:
        bar.start()
        whole = (time.monotonic() - began) / share if share > EARLY else None
        bar.update(task, completed=share, whole=whole)

    try:
        if at_once:
            bar.start()
        yield tell
    finally:
        bar.stop()


def left(seconds: float) -> str:
    """Time left as people say it.

    >>> left(0.2), left(7.6), left(95)
    ('nearly done', 'about 8 s left', 'about 2 min left')
    """
    if seconds < 1:
        return "nearly done"
    return f"about {seconds:.0f} s left" if seconds < 90 else f"about {seconds / 60:.0f} min left"

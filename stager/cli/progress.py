"""A bar on stderr, where that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from stager.cli.session import Session


@contextmanager
def progress(session: Session, doing: str) -> Iterator[Callable[[float], None]]:
    """A function that takes the share that is done."""
    if session.quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    percent = TextColumn("{task.percentage:>3.0f} %")
    left = TimeRemainingColumn()
    columns = (TextColumn("{task.description}"), BarColumn(), percent, left, TextColumn("left"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(doing, total=1.0)
        yield lambda share: bar.update(task, completed=share)

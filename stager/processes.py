"""Processes of this machine that work beside this one."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, get_context

USUAL = 2


def usual() -> int:
    """As many processes as begin at no cost: 1 where a copy of this process could inherit a lock that is held."""
    return min(USUAL, os.cpu_count() or 1) if _copies() else 1


@contextmanager
def processes(count: int) -> Iterator[Executor | None]:
    """An executor of `count` processes, begun at once; None where the system has none to give.

    They do not hear Ctrl-C: this process does, and ends them.
    """
    before = set(active_children())
    try:
        pool = ProcessPoolExecutor(count, mp_context=get_context("fork" if _copies() else "spawn"), initializer=_deaf)
        pool.submit(_ready)
    except (ImportError, NotImplementedError, OSError):
        yield None
        return
    try:
        yield pool
    except BaseException:
        # Before the shutdown, which otherwise waits until their work is done.
        for child in set(active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _copies() -> bool:
    return sys.platform == "linux" and threading.active_count() == 1


def _deaf() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _ready() -> None:
    """Nothing: the first task begins the processes."""

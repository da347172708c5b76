"""A callback before kernels are compiled; apart from `compiled`, so that setting it does not load the compiler."""

from __future__ import annotations

from collections.abc import Callable

_listeners: list[Callable[[], None]] = []


def on_compiling(listener: Callable[[], None] | None) -> None:
    """Call `listener` once before kernels are compiled, which takes seconds; None: call nothing.

    It is not called for kernels that are found compiled on disk.
    """
    _listeners[:] = [] if listener is None else [listener]


def announce() -> None:
    """Call the listener and forget it."""
    waiting, _listeners[:] = list(_listeners), []
    for listener in waiting:
        listener()

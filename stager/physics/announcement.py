"""Who is told before kernels are compiled; apart from `compiled`, as asking to be told must not load a compiler."""

from __future__ import annotations

from collections.abc import Callable

_listeners: list[Callable[[], None]] = []


def on_compiling(listener: Callable[[], None] | None) -> None:
    """Call `listener` once before kernels are compiled, which takes seconds; None: nobody listens.

    Kernels that are found compiled on disk call nobody.
    """
    _listeners[:] = [] if listener is None else [listener]


def announce() -> None:
    """Tell who listens, and forget them."""
    told, _listeners[:] = list(_listeners), []
    for listener in told:
        listener()

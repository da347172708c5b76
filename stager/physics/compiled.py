"""Compile the numerical kernels where a compiler is installed; run the same source as plain Python elsewhere.

`compiled` marks a scalar function of a kernel, `entry` one that is called from ordinary Python and kept compiled on
disk. Without numba, or with the environment variable STAGER_COMPILE=0, both leave the function as it is.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

COMPILES = os.environ.get("STAGER_COMPILE", "1") != "0"
"""Whether the kernels are compiled."""
if COMPILES:
    try:
        import numba
    except ImportError:
        COMPILES = False

Function = TypeVar("Function", bound=Callable[..., Any])
SOURCES = ("compiled.py", "contact", "drive", "friction", "guide.py", "rate", "windage.py")
"""Files and folders beside this one that hold compiled functions; a change in any of them outdates what is kept."""
OPTIONS = {"nogil": True, "error_model": "numpy"}
INNER = {**OPTIONS, "_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""Inner functions make no arrays, so that none is counted, and ordinary Python does not call them."""

_listeners: list[Callable[[], None]] = []


def compiled(function: Function) -> Function:
    """Compile a function that other compiled functions call."""
    return numba.njit(**INNER)(function) if COMPILES else function


def inlined(function: Function) -> Function:
    """Compile a small function into the body of those that call it; for what is called in every step."""
    return numba.njit(forceinline=True, **INNER)(function) if COMPILES else function


def kept(function: Function) -> Function:
    """Compile a large function that several entries call, and keep it on disk so that it is compiled but once."""
    if not COMPILES:
        return function
    dispatcher = numba.njit(cache=True, **INNER)(function)
    _outdate(dispatcher)
    return dispatcher


def plain(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the Python function behind a compiled one."""
    return getattr(function, "py_func", function)


def on_compiling(listener: Callable[[], None] | None) -> None:
    """Call `listener` once before kernels are compiled, which takes seconds; None: nobody listens.

    Kernels that are found compiled on disk call nobody.
    """
    _listeners[:] = [] if listener is None else [listener]


class Entry:
    """A kernel as it is called from ordinary Python, compiled at its first call and kept on disk."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.call: Callable[..., Any] = function
        self._started = not COMPILES
        if COMPILES:
            self.call = numba.njit(cache=True, **OPTIONS)(function)
            _outdate(self.call)

    def __call__(self, *given: Any) -> Any:
        """Run the kernel."""
        if not self._started:
            self._start()
        return self.call(*given)

    @property
    def kept(self) -> bool:
        """Whether the kernel can be loaded compiled from disk."""
        with suppress(AttributeError, OSError):
            return bool(self.call._cache._cache_file._load_index())  # type: ignore[attr-defined]
        return False

    def _start(self) -> None:
        self._started = True
        if not self.kept:
            for listener in _listeners:
                listener()
            _listeners.clear()



def entry(function: Callable[..., Any]) -> Entry:
    """Compile a function that ordinary Python calls."""
    return Entry(function)


def _outdate(dispatcher: Any) -> None:
    """Outdate a kept function by a change in any source; the compiler itself looks at its own file alone."""
    with suppress(AttributeError):
        dispatcher._cache._cache_file._source_stamp = stamp()


@cache
def stamp() -> str:
    """Return a digest of all sources of the kernels."""
    digest = hashlib.sha256()
    for path in sources():
        digest.update(path.read_bytes())
    return digest.hexdigest()


def sources() -> list[Path]:
    """Return the files that hold compiled functions."""
    here = Path(__file__).parent
    found = [here / name for name in SOURCES]
    return sorted(file for path in found for file in (path.glob("*.py") if path.is_dir() else [path]) if file.exists())

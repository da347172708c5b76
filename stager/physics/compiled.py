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
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from stager.physics.announcement import announce

numba: Any = None
if os.environ.get("STAGER_COMPILE", "1") != "0":
    with suppress(ImportError):
        numba = import_module("numba")
COMPILES = numba is not None
"""Whether the kernels are compiled."""

Function = TypeVar("Function", bound=Callable[..., Any])
SOURCES = (
    "bounds", "physics/barrel.py", "physics/compiled.py", "physics/contact", "physics/friction.py", "physics/rate.py",
    "physics/transient.py", "physics/wheel.py",
)  # fmt: skip
"""Files and folders of the package that hold compiled functions; a change in any of them outdates what is kept."""
OPTIONS = {"nogil": True, "error_model": "numpy"}
INNER = {**OPTIONS, "_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""Inner functions make no arrays, so that none is counted, and ordinary Python does not call them."""


def compiled(function: Function) -> Function:
    """Compile a function that other compiled functions call."""
    return _inner(function)


def inlined(function: Function) -> Function:
    """Compile a small function into the body of those that call it; for what is called in every step."""
    return _inner(function, forceinline=True)


def kept(function: Function) -> Function:
    """Compile a large function that several entries call, and keep it on disk so that it is compiled but once."""
    made: Function = _on_disk(function, INNER) if COMPILES else function
    return made


def _inner(function: Function, **options: bool) -> Function:
    made: Function = numba.njit(**INNER, **options)(function) if COMPILES else function
    return made


def _on_disk(function: Callable[..., Any], options: dict[str, Any]) -> Any:
    """Compile a function and keep it: beside its source, else in the user's cache, else not at all.

    It is outdated by a change in any source (the compiler itself looks at the function's own file alone), and compiled
    all the same where the disk takes no more.
    """
    try:
        dispatcher = numba.njit(cache=True, **options)(function)
    except RuntimeError:
        return numba.njit(**options)(function)
    with suppress(AttributeError):
        file = dispatcher._cache._cache_file
        file._source_stamp, save = stamp(), file.save

        def save_if_possible(key: Any, data: Any) -> None:
            with suppress(OSError):
                save(key, data)

        file.save = save_if_possible
    return dispatcher


class Entry:
    """A kernel as it is called from ordinary Python, compiled at its first call and kept on disk."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.call: Any = function
        self._started = not COMPILES
        if COMPILES:
            self.call = _on_disk(function, OPTIONS)

    def __call__(self, *given: Any) -> Any:
        """Run the kernel."""
        if not self._started:
            self._start()
        return self.call(*map(writable, given)) if COMPILES else self.call(*given)

    @property
    def kept(self) -> bool:
        """Whether the kernel can be loaded compiled from disk."""
        with suppress(AttributeError, OSError):
            return bool(self.call._cache._cache_file._load_index())
        return False

    def _start(self) -> None:
        self._started = True
        if not self.kept:
            announce()


def writable(value: Any) -> Any:
    """Return a value as a kernel takes it: an array that must not be written to, as views by broadcasting, is copied.

    The compiler makes a kernel anew for each combination of arrays that are read-only.
    """
    return value.copy() if isinstance(value, np.ndarray) and not value.flags.writeable else value


def entry(function: Callable[..., Any]) -> Entry:
    """Compile a function that ordinary Python calls."""
    return Entry(function)


@cache
def stamp() -> str:
    """Return a digest of all sources of the kernels."""
    digest = hashlib.sha256()
    for path in sources():
        digest.update(path.read_bytes())
    return digest.hexdigest()


def sources() -> list[Path]:
    """Return the files that hold compiled functions."""
    here = Path(__file__).parents[1]
    found = [here / name for name in SOURCES]
    return sorted(file for path in found for file in (path.glob("*.py") if path.is_dir() else [path]) if file.exists())

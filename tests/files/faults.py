"""Fault injection for the file writer: the k-th system call fails, writes less than asked, or is the last."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import ModuleType
from typing import Any
from unittest import mock

from stager import files

CALLS = ("open", "write", "pwrite", "fsync", "replace", "link", "unlink", "ftruncate", "chmod", "chown", "close")
KINDS = ("ENOSPC", "EIO", "short", "short then ENOSPC", "kill", "short then kill")


class Killed(BaseException):
    """Raised in place of the process being killed."""


def dead_process() -> int:
    """Return the number of a process that has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as done:
        done.wait()
    return done.pid


class Faulty(ModuleType):
    """The module `os` with a fault at its `at`-th file call, counted from 1; `count` is the number of calls so far."""

    def __init__(self, kind: str, at: int, pid: int) -> None:
        super().__init__("os")
        self.kind, self.at, self.pid = kind, at, pid
        self.count, self.dead, self.short, self.opened = 0, False, False, set[int]()

    def __getattr__(self, name: str) -> Any:
        real = getattr(os, name)
        if name == "getpid":
            return lambda: self.pid
        return self._guarded(name, real) if name in CALLS else real

    def _guarded(self, name: str, real: Any) -> Any:
        def call(*given: Any, **named: Any) -> Any:
            if self.dead:
                raise Killed
            self.count += 1
            writes = name in ("write", "pwrite")
            if self.count == self.at or (self.short and writes):
                found = self._fault(name, real, given)
                if found is not None:
                    return found
            done = real(*given, **named)
            if name == "open":
                self.opened.add(done)
            elif name == "close":
                self.opened.discard(given[0])
            return done

        return call

    def _fault(self, name: str, real: Any, given: tuple[Any, ...]) -> Any:
        if "short" in self.kind and not self.short:
            self.short = True
            self.at = self.count if name in ("write", "pwrite") else -1
            if name == "write":
                return real(given[0], given[1][: max(1, len(given[1]) // 2)])
            return None
        if self.kind == "short":
            return None
        if "kill" in self.kind:
            self.dead = True
            raise Killed
        if name == "close":
            real(*given)
            self.opened.discard(given[0])
        raise OSError(number := getattr(errno, self.kind.split()[-1]), os.strerror(number))

    def end(self) -> None:
        """Close the files that the killed process had open."""
        for handle in self.opened:
            with suppress(OSError):
                os.close(handle)


@contextmanager
def fault(kind: str, at: int, pid: int) -> Iterator[Faulty]:
    """Inject the fault into the writer's system calls within this context."""
    faulty = Faulty(kind, at, pid)
    try:
        with mock.patch.object(files, "os", faulty):
            yield faulty
    except Killed:
        pass
    finally:
        if faulty.dead:
            faulty.end()

"""A time limit on a search, and the units of work that are given up when time is up."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

Result = TypeVar("Result")


class TimeUp(Exception):
    """Time was up in a unit of work, whose result is worth nothing half done."""


@dataclass(slots=True)
class Clock:
    """A time limit: `until` by the monotonic clock [s], None: none. open: work left undone; units: those at work."""

    until: float | None = None
    open: list[str] = field(default_factory=list)
    units: int = 0

    @classmethod
    def of(cls, seconds: float | None) -> Clock:
        """Return a clock that runs out in `seconds`, None: never."""
        return cls(None if seconds is None else time.monotonic() + seconds)

    def out(self, what: str = "") -> bool:
        """Whether time is up; what: work that is then noted as left undone."""
        if self.until is None or time.monotonic() < self.until:
            return False
        if what and what not in self.open:
            self.open.append(what)
        return True

    def check(self) -> None:
        """Raise TimeUp where time is up in a unit of work: every evaluation of settings calls it."""
        if self.units and self.out():
            raise TimeUp

    def attempt(self, what: str, work: Callable[[], Result]) -> Result | None:
        """Return the result of a unit of work; None where time is up before its end, and `what` is noted as undone."""
        if self.out(what):
            return None
        self.units += 1
        try:
            return work()
        except TimeUp:
            self.out(what)
            return None
        finally:
            self.units -= 1

"""Timing of jobs in turns, so that a busy machine slows all of them alike."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Line:
    """One row of the table: job, time [s], reference, ratio of times, target and whether it is met."""

    what: str
    seconds: float
    against: str
    ratio: float
    asked: str
    kept: bool

    def cells(self) -> tuple[str, ...]:
        """Return the row as text."""
        kept = "yes" if self.kept else "no"
        return self.what, pretty(self.seconds), self.against, f"{self.ratio:.3g}", self.asked, kept

    def plain(self) -> dict[str, Any]:
        """Return the row as plain data."""
        return asdict(self)


HEADS = ("run", "time", "against", "ratio", "target", "met")
Clock = Callable[[], float]


def medians(*jobs: Callable[[], object], rounds: int = 5, clock: Clock = time.process_time) -> list[float]:
    """Return the median time [s] of each job; every round runs all jobs in turn."""
    taken: list[list[float]] = [[] for _ in jobs]
    for _ in range(rounds):
        for times, job in zip(taken, jobs, strict=True):
            began = clock()
            job()
            times.append(clock() - began)
    return [float(np.median(times)) for times in taken]


def exponent(sizes: list[int], seconds: list[float]) -> float:
    """Return the slope of log time against log size."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def pretty(seconds: float) -> str:
    """Format seconds with a suitable prefix."""
    if seconds != seconds:
        return "–"
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds / 1e-9:.3g} ns"

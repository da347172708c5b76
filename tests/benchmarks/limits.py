"""Cost of the limits relative to the transits of the same chains.

    python -m tests.benchmarks.limits [chains]

Ratios of processor time in one batch: all limits that do not need the steady state, then the steady state.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from stager.constraints import LIMITS, OperatingPoint, evaluate
from stager.model.launcher import Launcher
from stager.physics.chain import throw
from stager.physics.rate import settled
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import DRIVE, launcher

STAGES = 3
T = TypeVar("T")


def ratios(chains: int, machine: Launcher) -> dict[str, float]:
    """Return the time of each limit, of all limits and of the steady state, relative to the transits."""
    rng = np.random.default_rng(1)
    speeds = np.sort(rng.uniform(6.0, 16.0, (chains, STAGES)), axis=1)
    still = replace(machine, feed=replace(machine.feed, rate=None))
    transits, done = _timed(lambda: throw(still, speeds))
    design = OperatingPoint(launcher=still, limit_values=limit_values(), throw=done, grip_limit=1.3 * speeds)
    found = {}
    for limit in LIMITS:
        found[limit.name], _ = _timed(lambda limit=limit: evaluate(limit, design))  # type: ignore[misc]
    out = {name: spent / transits for name, spent in found.items()}
    out["ALL LIMITS"] = sum(out.values())
    spent, _ = _timed(lambda: settled(machine, 2.0, speeds, first=done))
    out["SETTLED"] = spent / transits
    return out


def _timed(work: Callable[[], T]) -> tuple[float, T]:
    start = time.process_time()
    made = work()
    return time.process_time() - start, made


if __name__ == "__main__":
    chains = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    for name, machine in (("open throttle", FULL), ("governed", launcher(drive=replace(DRIVE, governed=True)))):
        print(f"{name}, {chains} chains of {STAGES} stages, by the time of their transits:")
        for limit, ratio in ratios(chains, machine).items():
            print(f"  {limit:20s} {ratio:8.4f}")

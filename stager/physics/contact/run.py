"""Many throws: samples in chunks on several threads, or one after the other where they are few."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Any

from stager.errors import NotComputable
from stager.model.arrays import Floats
from stager.physics import compiled
from stager.physics.contact import stages
from stager.physics.contact.packing import Packed

FEW = 192
"""Most contacts that are not worth a second thread: about what starting one takes."""
CHUNK = 96
"""Least contacts in a chunk."""
PER_THREAD = 4
"""Chunks for each thread, so that none waits long for another."""


def threads() -> int:
    """Return how many threads work at once: one for each core, or as many as OMP_NUM_THREADS says; one alone in a
    process that works for another."""
    if not compiled.COMPILES or multiprocessing.parent_process() is not None:
        return 1
    if (said := os.environ.get("OMP_NUM_THREADS", "")).isdigit() and int(said):
        return int(said)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def share(work: Callable[[int, int], None], samples: int, cost: int) -> None:
    """Call `work(low, high)` for chunks of 0 … `samples`, each of which takes as long as `cost` contacts.

    Samples do not depend on each other: results are the same for any number of threads.
    """
    workers = threads() if samples > 1 and samples * cost > FEW else 1
    if workers == 1:
        work(0, samples)
        return
    size = max(-(-CHUNK // max(cost, 1)), -(-samples // (PER_THREAD * workers)), 1)
    with ThreadPoolExecutor(workers) as pool:
        begun = [pool.submit(work, low, min(low + size, samples)) for low in range(0, samples, size)]
        wait(begun)
    for future in begun:
        future.result()


def run(
    packed: Packed, speeds: Sequence[Floats], entry_speed: Floats, spin: Floats, ends: Any,
    how: Floats, out: Floats, exits: Floats,
) -> None:  # fmt: skip
    """Throw all samples; arguments as `stages.throw_samples` has them, speeds in [m/s].

    Raises NotComputable where a throw does not end.
    """

    def work(low: int, high: int) -> None:
        lost = stages.throw_samples(
            low, high, packed.body, packed.stages, packed.kinds, packed.laws, *speeds, entry_speed, spin, ends,
            how, out, exits,
        )  # fmt: skip
        if lost:
            raise NotComputable("a contact did not come to its end within the allowed number of steps")

    share(work, len(exits), speeds[0].shape[1])

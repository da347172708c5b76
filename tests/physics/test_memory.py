"""Memory: 100 000 samples of six stages need less than 1 GiB; a fifth of them is thrown."""

from __future__ import annotations

import tracemalloc

import numpy as np

from stager.physics.chain import QUICK, throw
from tests.physics.machines import launcher

SAMPLES = 20_000


def test_large_batch_needs_less_than_one_gibibyte() -> None:
    speeds = np.random.default_rng(1).uniform(8.0, 30.0, (SAMPLES, 6))
    machine = launcher(inertia=4e-3, crush=2e-3, feed=4.0)
    tracemalloc.start()
    try:
        done = throw(machine, speeds, options=QUICK)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert done.exit_speed.shape == (SAMPLES,)
    assert 8 * speeds.size < most < 2**30 * SAMPLES / 100_000

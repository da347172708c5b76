"""Memory: 100 000 samples of six stages need less than 1 GiB, measured in a separate process."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import resource
import numpy as np
from stager.physics.chain import throw
from stager.physics.chain import QUICK
from tests.physics.machines import launcher
speeds = np.random.default_rng(1).uniform(8.0, 30.0, (100_000, 6))
done = throw(launcher(inertia=4e-3, crush=2e-3, feed=4.0), speeds, options=QUICK)
assert done.exit_speed.shape == (100_000,)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def test_large_batch_needs_less_than_one_gibibyte() -> None:
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 1024 * 1024

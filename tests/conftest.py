"""Settings for every test."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

if "PYTEST_XDIST_WORKER" in os.environ:
    # Workers share the cores already; commands that tests start inherit this.
    os.environ["OMP_NUM_THREADS"] = "1"

settings.register_profile(
    "stager",
    derandomize=True,
    deadline=None,
    database=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("stager")

"""Settings for every test."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
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


def pytest_configure(config: pytest.Config) -> None:
    """Compile the kernels before workers start."""
    if hasattr(config, "workerinput") or not getattr(config.option, "numprocesses", None):
        return
    here = Path(__file__).parents[1]
    parts = ("throws", "bounds")
    begun = [subprocess.Popen([sys.executable, "-m", "tests.warm", part], cwd=here) for part in parts]
    for process in begun:
        process.wait()


SHARING = ("page", "figures")
"""Folders whose files share reports, so that one worker runs them all."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests of one file together, as they share slow results."""
    for item in items:
        folder = item.path.parent.name
        item.add_marker(pytest.mark.xdist_group("reports" if folder in SHARING else str(item.path)))

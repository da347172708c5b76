"""Settings for every test."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

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


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep the tests of one file together, as they share slow results."""
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = Path(nodeid.partition("::")[0])
            return "reports" if file.parent.name in SHARING else str(file)

    return Together(config, log)

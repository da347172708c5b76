"""Settings for every test."""

from __future__ import annotations

import os
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
    from stager.physics import compiled
    from stager.physics.contact.run import throw_samples

    if compiled.COMPILES:
        throw_samples.load()


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

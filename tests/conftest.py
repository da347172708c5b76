"""Settings for every test."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# Commands that tests start keep their bytecode, else each compiles the whole package.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
if "PYTEST_XDIST_WORKER" in os.environ:
    # Workers share the cores already; commands that tests start inherit this.
    os.environ["OMP_NUM_THREADS"] = "1"

gc.set_threshold(50_000)
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


@pytest.fixture
def few_draws() -> Iterator[None]:
    """Take few draws, where a test is of what is written about them."""
    from tests.sharing import few_draws as patched

    with patched():
        yield


SHARING = ("page", "figures")
"""Folders whose files share reports, so that one worker runs them all."""
LONGEST = (
    "reports", "tests/optimise/test_infeasible.py", "tests/golden/test_screens.py", "tests/fit/test_advice.py",
    "tests/optimise/test_ranges.py", "tests/cli/test_card.py", "tests/optimise/test_against_search.py",
    "tests/fit/test_adequacy.py", "tests/fit/test_fitting.py", "tests/cli/test_process.py",
    "tests/bounds/test_bounds.py", "tests/bench/test_kills.py", "tests/recovery/test_recovery.py",
    "tests/optimise/test_monotone.py", "tests/published/test_measured.py", "tests/optimise/test_brute_force.py",
    "tests/physics/test_compiled.py", "tests/fit/test_first_session.py", "tests/optimise/test_parts.py",
    "tests/optimise/test_builds.py", "tests/report/test_flight.py", "tests/api/test_examples.py",
    "tests/cli/test_sweep_throws.py", "tests/optimise/test_sensitivities.py", "tests/fit/test_experiment_design.py",
)  # fmt: skip
"""What takes 15 s to a minute: it is run first, so that no worker is left alone with it at the end."""


def _group(nodeid: str) -> str:
    """Return what is run by one worker, as it shares slow results: a file, or the files of some folders."""
    file = Path(nodeid.partition("::")[0])
    return "reports" if file.parent.name in SHARING else str(file)


def pytest_collection_finish() -> None:
    """Spare garbage collection the objects of imports and collection, which live as long as the tests."""
    gc.collect()
    gc.freeze()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the tests that take longest first."""
    items.sort(key=lambda item: LONGEST.index(group) if (group := _group(item.nodeid)) in LONGEST else len(LONGEST))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep the tests of one file together, in the order of collection."""
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _group(nodeid)

    config.option.loadscopereorder = False
    return Together(config, log)

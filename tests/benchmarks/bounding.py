"""CPU time of the bound of each scenario.

`python -m tests.benchmarks.bounding` prints one row a scenario: the shipped ones, and those of the bound's tests. Each
is bounded twice, and the second is timed, so that nothing is compiled within.
"""

from __future__ import annotations

import time
from pathlib import Path

from stager.bounds import Bound, bound
from stager.config import load
from stager.model.launcher import Scenario
from tests.bounds.test_bounds import CASES

CONFIGS = Path(__file__).parents[2] / "configs"


def main() -> None:
    """Run and print."""
    shipped = {file.stem: load(file).scenario() for file in sorted(CONFIGS.glob("*.toml"))}
    print(f"{'scenario':20} {'stages':>6} {'CPU s':>7}  bound m/s")
    for name, scenario in {**shipped, **CASES}.items():
        bound(scenario, scenario.limit_values.stages)
        seconds, found = _timed(scenario)
        told = found.missing or " ".join(f"{speed:.3f}" for speed in found.speeds)
        print(f"{name:20} {len(found.speeds) - 1:6d} {seconds:7.2f}  {told}", flush=True)


def _timed(scenario: Scenario) -> tuple[float, Bound]:
    began = time.process_time()
    found = bound(scenario, scenario.limit_values.stages)
    return time.process_time() - began, found


if __name__ == "__main__":
    main()

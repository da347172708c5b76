"""Plans against general optimisers on random problems.

`python -m tests.benchmarks.optimisers [PROBLEMS] [SEED] [FIRST]` prints for each problem the difference between each
optimiser and the plan, and the gap of the bound to the plan and to the fastest feasible setting; at the end the largest
differences. FIRST: number of the first problem.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from stager.model.launcher import Scenario
from stager.optimise.planner import plan
from tests.optimise.optimisers import SEARCHES, problem, reached

FREE_ENERGY = 1e3
"""Energy limit of `scenario` without a drawn one [J]."""


def main(problems: int, seed: int, first: int) -> None:
    """Run the study and print its table."""
    worst, gaps, beaten = -np.inf, [], 0
    searches = " ".join(f"{name + ' %':>11}" for name in SEARCHES)
    print(f"problem stages limits                              plan m/s    s {searches}    s  bound % above all %")
    for number in range(first, first + problems):
        rng = np.random.default_rng([seed, number])
        task = problem(rng)
        began = time.perf_counter()
        found = plan(task, draws=0)
        planned, between = 0.0 if found.best is None else found.best.exit_speed, time.perf_counter()
        speeds = [reached(task, name, rng) for name in SEARCHES]
        ended = time.perf_counter()
        ahead = [100 * (speed / planned - 1) for speed in speeds]
        worst, above, gap = max(worst, *ahead), np.nan, np.nan
        if found.bound is not None and not found.bound.missing:
            gap, above = (100 * (found.bound.speed / speed - 1) for speed in (planned, max(planned, *speeds)))
            gaps.append(gap)
            beaten += above < -1e-9
        print(f"{number:7d} {task.limit_values.stages:6d} {_limits(task):35s} {planned:8.3f} {between - began:4.0f}"
              f" {' '.join(f'{each:+11.4f}' for each in ahead)} {ended - between:4.0f} {gap:8.4f} {above:11.4f}",
              flush=True)  # fmt: skip
    print(f"A search was ahead by {worst:+.4f} % at most. {len(gaps)} of {problems} plans have a bound; it is"
          f" {np.median(gaps):.3f} % above the plan at the median, {max(gaps):.3f} % at most, and was beaten"
          f" {beaten} times.")  # fmt: skip


def _limits(task: Scenario) -> str:
    """Return the names of the drawn limits."""
    given = {name: getattr(task.limit_values, name) for name in ("slip_heat", "exit_energy", "acceleration")}
    return " ".join(name for name, value in given.items() if value not in (None, FREE_ENERGY))


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:4]]
    main(*(given[k] if k < len(given) else usual for k, usual in enumerate((40, 0, 0))))

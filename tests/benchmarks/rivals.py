"""The plan against general optimisers on random problems: `python -m tests.benchmarks.rivals [PROBLEMS] [SEED]`.

Prints for each problem how much more or less than the plan the best of them reaches, and at the end the worst.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from stager.staging import plan
from tests.staging.rivals import Problem, cobyqa, evolution, problem, slsqp


def main(problems: int, seed: int) -> None:
    """Run and print."""
    worst = -np.inf
    print("problem stages  plan m/s  s      SLSQP %  COBYQA %  evolution %  s")
    for number in range(problems):
        rng = np.random.default_rng([seed, number])
        task = problem(rng)
        began = time.perf_counter()
        best = plan(task, draws=0, certified=False).best
        planned, between = 0.0 if best is None else best.exit_speed, time.perf_counter()
        rivalry = Problem(task)
        ahead = [100 * (rival(rivalry, rng) / planned - 1) for rival in (slsqp, cobyqa, evolution)]
        ended = time.perf_counter()
        worst = max(worst, *ahead)
        print(f"{number:7d} {rivalry.count:6d} {planned:9.3f} {between - began:5.1f}"
              f" {ahead[0]:+9.4f} {ahead[1]:+9.4f} {ahead[2]:+12.4f} {ended - between:6.1f}", flush=True)  # fmt: skip
    print(f"A rival was ahead by {worst:+.4f} % at most.")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*[*given, 40, 0][:1], *[*given[1:], 0][:1])

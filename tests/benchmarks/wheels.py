"""Compare the selected wheel radius and inertia with brute force over both and the wheel speeds.

`python -m tests.benchmarks.wheels [LAUNCHERS] [FIRST]` prints a line per drawn launcher, then how many are as fast as
brute force to 0.1 %.
"""

from __future__ import annotations

import sys
import time

from stager.optimise.clock import Clock
from stager.optimise.parts import choose, select
from tests.optimise.wheels import drawn, fastest


def main(count: int = 30, first: int = 0) -> int:
    """Compare `count` drawn launchers; return how many are slower than brute force."""
    short = 0
    for seed in range(first, first + count):
        task = drawn(seed)
        start = time.process_time()
        row = choose(task, select(task, Clock()).rows)
        took = time.process_time() - start
        found, at = max((fastest(task, k) for k in range(1, task.limit_values.stages + 1)), key=lambda one: one[0])
        speed = 0.0 if row is None else row.settings.exit_speed
        behind = found > speed * (1 + 1e-3)
        short += behind
        chosen = [] if row is None else [(one.radius, one.inertia) for one in row.parts]
        print(
            f"{seed:3d} {task.launcher.template.layout.name:5} {task.limit_values.stages} {speed:8.4f} m/s, brute force"
            f" {found:8.4f} m/s ({100 * (speed / found - 1) if found else 0.0:+.3f} %) {took:.1f} s {chosen}"
            f"{f' SHORT: {at.tolist()}' if behind else ''}",
            flush=True,
        )
    print(f"{count - short} of {count} within 0.1 %")
    return short


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])) > 0)

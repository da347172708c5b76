"""Count how many plans of drawn launchers keep all hard limits in the requested share of fresh builds.

Run as `python -m tests.benchmarks.fresh_builds [LAUNCHERS] [FIRST]`; it prints a line per launcher and a summary.
"""

from __future__ import annotations

import sys

import numpy as np

import stager
from tests.optimise.builds import CONFIGS, drawn_changes, fresh


def main(count: int = 50, first: int = 0) -> int:
    """Plan `count` drawn launchers from number `first`; return 1 if a plan keeps its limits too rarely."""
    judged, short = 0, 0
    for number in range(first, first + count):
        name, changes = drawn_changes(np.random.default_rng([13, number]))
        one = stager.load(CONFIGS / f"{name}.toml").replace(changes)
        plan = one.plan(draws=40)
        if plan.best is None or plan.best.count == 0 or plan.margin.unkeepable:
            print(f"{number:3d} {name}: {plan.verdict}")
            continue
        found, asked = fresh(one.scenario, plan.best), one.scenario.limit_values.confidence
        judged, short = judged + 1, short + (found.kept < asked)
        print(
            f"{number:3d} {name}: {plan.best.count} stages, {plan.best.exit_speed:.2f} m/s, kept in "
            f"{found.kept:.1%} of builds (asked {asked:.0%}), jams in {found.jams:.1%}",
            flush=True,
        )
    print(f"{judged} plans judged, {short} keep their limits in fewer builds than requested")
    return int(short > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(text) for text in sys.argv[1:3])))

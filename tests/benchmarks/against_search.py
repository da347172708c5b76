"""Compare plans with plain searches on drawn problems, and check their limits in the independent solver.

`python -m tests.benchmarks.against_search [count] [seed] [first]`
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from stager.bounds import bound
from stager.optimise.clock import Clock
from stager.optimise.parts import select
from stager.optimise.planner import plan
from tests.optimise.plain_search import (
    PlainSearch,
    broken_by_reference,
    draw_problem,
    speed_within_limits,
    tight_limits,
)

ONCE_MISSED = {
    "small steps": (71, 9, (9.0462, 10.9308, 16.6845, 19.0357, 20.1535)),
    "slow wheel": (74, 39, (9.056, 12.167, 17.172)),
}
"""Seed, number and known settings [m/s], of the plain search. Idlers and a rod with an active slip-heat limit: an
earlier search planned 10.19 m/s instead of 10.48. Idlers of which the second or the third may be the slow one: an
earlier search planned 8.19 m/s instead of 8.47. tests/optimise/test_against_search.py has those of fewer stages."""


def once_missed() -> None:
    """Print how far plans are ahead of settings that an earlier search missed."""
    for name, (seed, number, known) in ONCE_MISSED.items():
        task = draw_problem(np.random.default_rng([seed, number]))
        task = replace(task, limit_values=replace(task.limit_values, stages=len(known)))
        ahead = select(task, Clock()).rows[len(known)].settings.exit_speed / speed_within_limits(task, known) - 1
        print(f"once missed, {name}: plan ahead by {100 * ahead:.2f} %", flush=True)


def main(count: int = 100, seed: int = 0, first: int = 0) -> None:
    """Print each problem on which the plan is behind, and a summary."""
    once_missed()
    behind, lost, unfit, beaten, spent = [], [], [], [], [0.0, 0.0]
    for number in range(first, first + count):
        if number > first and (number - first) % 10 == 0:
            print(f"{number - first} done; behind: {lost}, unfit: {unfit}", file=sys.stderr, flush=True)
        rng = np.random.default_rng([seed, number])
        task = draw_problem(rng)
        clock = time.process_time()
        found = plan(task, draws=0, certified=False)
        spent[0] += time.process_time() - clock
        clock = time.process_time()
        searches = [PlainSearch(task, stages).search(rng) for stages in range(1, task.limit_values.stages + 1)]
        spent[1] += time.process_time() - clock
        asked = task.goal.asked
        speeds = [search.exit_speed for search in searches]
        rungs = [rung.exit_speed.nominal if rung.kept else 0.0 for rung in found.ladder[1:]]
        rungs += [max(rungs, default=0.0)] * (len(speeds) - len(rungs))
        best = found.best
        words = (
            f"{task.launcher.template.layout.name} {task.launcher.projectile.shape.name} x{task.limit_values.stages} "
            f"{'reach' if asked else 'fastest'} {' '.join(tight_limits(task))}"
            f"{' margin' if task.limit_values.grip_margin else ''}"
        )
        if best is not None and not best.feasible:
            unfit.append(number)
            print(number, words, "plan breaks a limit", flush=True)
        if best is not None and best.count and (wrong := broken_by_reference(task, best)):
            unfit.append(number)
            print(number, words, "breaks in the independent solver:", wrong, flush=True)
        if asked is None:
            ahead = np.maximum.accumulate(speeds)
            gap = max(speed / max(rung, 1e-9) - 1 for speed, rung in zip(ahead, rungs, strict=True))
            behind.append(gap)
            if gap > 1e-3:
                lost.append(number)
                message = f"behind by {100 * gap:.2f} %"
                print(number, words, message, np.round(speeds, 3), np.round(rungs, 3), flush=True)
        else:
            reaching = [k + 1 for k, search in enumerate(searches) if search.reaches]
            if reaching and (best is None or best.count > min(reaching)):
                lost.append(number)
                message = f"reached with {reaching[0]}, plan"
                print(number, words, message, None if best is None else best.count, flush=True)
            if best is not None and float(best.design.outlet_speed) > asked:
                unfit.append(number)
                print(number, words, "overshot", float(best.design.outlet_speed) / asked - 1, flush=True)
        if number % 5 == 0 and asked is None and best is not None:
            top = bound(task, task.limit_values.stages, best.exit_speed)
            if max(speeds) > top.speed * (1 + 1e-6) or best.exit_speed > top.speed * (1 + 2e-6):
                beaten.append(number)
                print(number, words, "bound beaten", top.speed, max(speeds), best.exit_speed, flush=True)
    print(f"{count} problems; behind by more than 0.1 %: {len(lost)} {lost}")
    print(f"limits broken: {unfit}; bounds beaten: {beaten}")
    if behind:
        print("searches ahead by, quantiles 0.5 0.9 1:", np.round(np.quantile(behind, [0.5, 0.9, 1.0]), 5))
    print(f"CPU s: plans {spent[0]:.1f}, searches {spent[1]:.1f}")


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:]))

"""Coverage of the 95 % intervals of a fit: python -m tests.benchmarks.recovery [benches] [seed] [workers]
[oracle].

Truths are drawn from each scenario's uncertainties; scatter 0.5–3 %, 12–60 throws, every second bench with outliers.
Scored are the identified parameters, the grip limit and the exit speed of a second stage without throws. The
table is Markdown. With `oracle` in the end, equations of the tests' own throw the benches, pair, rail and idler with
every law, every third one in an order that the table tells.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from scipy.stats import binomtest

from tests.recovery.bench import EVERY, NAMES, Plan, Score, by_engine, by_oracle, draw_plan, recover, scenario

REJECT = 0.001
ORACLE = "oracle"
SCHEDULE = (*NAMES[:-1], *NAMES)
"""The last scenario has a rail and takes several times as long, so it comes half as often."""


def one(job: tuple[int, int, str]) -> tuple[str, Plan, str, list[Score]]:
    """Run one bench, given its number, the seed and who throws."""
    number, seed, engine = job
    rng = np.random.default_rng([seed, number])
    if engine == ORACLE:
        name, plan, thrown = EVERY[number % len(EVERY)], replace(draw_plan(rng), shuffled=number % 3 == 2), by_oracle
    else:
        name, plan, thrown = SCHEDULE[number % len(SCHEDULE)], draw_plan(rng), by_engine
    done, scores = recover(scenario(name), plan, rng, thrown)
    return name, plan, done.law, scores


def row(label: str, scores: list[Score]) -> str:
    """Return a table row: coverage, two-sided p value against 95 %, median width and error."""
    inside = sum(score.inside for score in scores)
    p = binomtest(inside, len(scores), 0.95).pvalue
    width = np.median([score.width for score in scores])
    error = np.median([abs(score.error) for score in scores])
    mark = " rejected" if p < REJECT else ""
    return (
        f"| {label} | {len(scores)} | {100 * inside / len(scores):.1f} % | {p:.3f}{mark} "
        f"| {100 * width:.1f} % | {100 * error:.1f} % |"
    )


Result = tuple[str, Plan, str, list[Score]]


def study_table(results: list[Result]) -> list[str]:
    """Return the table and a line on the selected friction laws."""
    groups: dict[str, list[Score]] = defaultdict(list)
    for name, plan, _, scores in results:
        for score in scores:
            kind = "second stage" if score.name.startswith("second stage") else "identified parameters"
            for label in (
                "all", kind, f"scenario {name}", f"of which {score.name}",
                "scatter below 1.5 %" if plan.noise < 0.015 else "scatter from 1.5 %",
                "12–29 throws" if plan.throws < 30 else "30–60 throws",
                "with outliers" if plan.outliers else "without outliers",
            ):  # fmt: skip
                groups[label].append(score)
    lines = ["| row | intervals | coverage | p | median width | median error |", "|---|---|---|---|---|---|"]
    lines += [row(label, groups[label]) for label in sorted(groups, key=lambda text: (text != "all", text))]
    switched = sum(law != scenario(name).launcher.contact.friction.name for name, _, law, _ in results)
    return [*lines, "", f"{len(results)} benches; a wrong friction law was selected in {switched}."]


def main(benches: int = 210, seed: int = 12, workers: int = 1, engine: str = "") -> None:
    """Run the study and print its table."""
    jobs = [(number, seed, engine) for number in range(benches)]
    with ProcessPoolExecutor(workers) as pool:
        results = []
        for result in pool.map(one, jobs):
            results.append(result)
            print(f"\r{len(results)} of {benches}", end="", file=sys.stderr)
    print("\n".join(study_table(results)))


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:4]), *sys.argv[4:])

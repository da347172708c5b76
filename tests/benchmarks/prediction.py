"""How well a second stage is foretold from one: python -m tests.benchmarks.prediction [benches] [seed] [workers].

So many benches of each kind of launcher: 24 throws at 1.2 % of scatter across the grip limit, then the exit speed of a
second stage that no throw had, with its wheels as set by the best guess and at their own best. Asked: within 5 % of the
truth, and an interval narrower than 25 %. The table is Markdown.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from tests.recovery.bench import KINDS, Plan, Score, recover, scenario

PLAN = Plan(noise=0.012, throws=24, outliers=0.0)
ERROR, WIDTH = 0.05, 0.25


def one(job: tuple[str, int, int]) -> tuple[str, list[Score]]:
    """One bench by the name of its kind, its number and the study's seed: the second stage's scores."""
    name, number, seed = job
    _, scores = recover(scenario(name), PLAN, np.random.default_rng([seed, KINDS.index(name), number]))
    return name, [score for score in scores if score.name.startswith("second stage")]


def kept(score: Score) -> bool:
    """Whether it is what was asked for."""
    return abs(score.error) < ERROR and score.width < WIDTH


def words(name: str) -> str:
    """What kind of launcher a scenario is."""
    launcher = scenario(name).launcher
    return f"{launcher.projectile.shape.name}, {launcher.template.layout.name}, {launcher.contact.friction.name}"


def row(label: str, scores: list[Score]) -> str:
    """Share as asked, share that holds the truth, median and greatest error and width."""
    errors = 100 * np.abs([score.error for score in scores])
    widths = 100 * np.array([score.width for score in scores])
    shares = (100 * np.mean([test(score) for score in scores]) for test in (kept, lambda score: score.inside))
    asked, inside = shares
    return (
        f"| {label} | {len(scores)} | {asked:.0f} % | {inside:.0f} % | {np.median(errors):.1f} % | {errors.max():.1f} %"
        f" | {np.median(widths):.1f} % | {widths.max():.1f} % |"
    )


def main(benches: int = 10, seed: int = 4, workers: int = 1) -> None:
    """Run the study and print its table."""
    groups: dict[str, list[Score]] = defaultdict(list)
    jobs = [(name, number, seed) for number in range(benches) for name in KINDS]
    with ProcessPoolExecutor(workers) as pool:
        for done, (name, scores) in enumerate(pool.map(one, jobs), start=1):
            print(f"\r{done} of {len(jobs)}", end="", file=sys.stderr)
            for label in ("all", f"{words(name)} ({name})", *(score.name for score in scores)):
                groups[label] += scores if not label.startswith("second") else [s for s in scores if s.name == label]
    print("| kind | predictions | as asked | hold the truth | median error | greatest | median width | greatest |")
    print("|" + "---|" * 8)
    for label in sorted(groups, key=lambda text: (text != "all", text)):
        print(row(label, groups[label]))


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))

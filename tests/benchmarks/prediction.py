"""Predict a second stage from throws of one: python -m tests.benchmarks.prediction [benches] [seed] [workers].

For each kind of launcher, benches with 24 throws of 1.2 % scatter across the grip limit; then the predicted exit speed
of a second stage without throws, at its expected best setting and at its true best setting. Target: error below 5 %,
interval narrower than 25 %. The table is Markdown.
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
    """Run one bench, given its kind, number and seed; return the scores of the second stage."""
    name, number, seed = job
    _, scores = recover(scenario(name), PLAN, np.random.default_rng([seed, KINDS.index(name), number]))
    return name, [score for score in scores if score.name.startswith("second stage")]


def meets_target(score: Score) -> bool:
    """Return whether error and width meet the target."""
    return abs(score.error) < ERROR and score.width < WIDTH


def words(name: str) -> str:
    """Describe the launcher of a scenario."""
    launcher = scenario(name).launcher
    return f"{launcher.projectile.shape.name}, {launcher.template.layout.name}, {launcher.contact.friction.name}"


def row(label: str, scores: list[Score]) -> str:
    """Return a table row: share within target, coverage, median and greatest error and width."""
    errors = 100 * np.abs([score.error for score in scores])
    widths = 100 * np.array([score.width for score in scores])
    met = 100 * np.mean([meets_target(score) for score in scores])
    inside = 100 * np.mean([score.inside for score in scores])
    return (
        f"| {label} | {len(scores)} | {met:.0f} % | {inside:.0f} % | {np.median(errors):.1f} % | {errors.max():.1f} %"
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
    print("| kind | predictions | within target | coverage | median error | greatest | median width | greatest |")
    print("|" + "---|" * 8)
    for label in sorted(groups, key=lambda text: (text != "all", text)):
        print(row(label, groups[label]))


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))

"""False claims of `compare` and of the drift test: python -m tests.benchmarks.false_alarms [pairs] [seed] [workers].

Pairs of identical builds, and sessions without drift, in several designs: equal settings with and without repeats,
different settings; in order or shuffled. The share of claims at the 5 % level must lie within 3–7 %. Pairs with too few
successful throws are refused and not counted. The table is Markdown.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scipy.stats import binomtest

from stager.errors import InputErrors
from tests.recovery.alarms import DESIGNS, one_pair
from tests.recovery.bench import scenario

REFUSED = "refused"
NAMES = ("seed_ball", "constant_pair", "bell_pair")
SCHEDULE = (*tuple(DESIGNS)[:2] * 9, *tuple(DESIGNS)[2:])
"""Designs that need the model take a hundred times as long, so each comes once in 21 pairs."""


def job(given: tuple[int, int]) -> tuple[str, str, bool, list[bool]]:
    """Run one pair, given its number and the seed; return design, deciding test, claim, claims of drift."""
    number, seed = given
    rng = np.random.default_rng([seed, number])
    design = SCHEDULE[number % len(SCHEDULE)]
    name = NAMES[number // len(SCHEDULE) % len(NAMES)]
    try:
        claim, decides, drifting = one_pair(scenario(name), DESIGNS[design], rng)
    except InputErrors:
        return design, REFUSED, False, []
    return design, decides, claim, drifting


def row(label: str, claims: int, count: int) -> str:
    """Return a table row: share of claims with a two-sided p value against 5 %."""
    return f"| {label} | {count} | {100 * claims / count:.1f} % | {binomtest(claims, count, 0.05).pvalue:.3f} |"


def main(pairs: int = 2000, seed: int = 1, workers: int = 1) -> None:
    """Run the study and print its table."""
    with ProcessPoolExecutor(workers) as pool:
        results = list(pool.map(job, [(number, seed) for number in range(pairs)], chunksize=10))
    counts: Counter[str] = Counter()
    claims: Counter[str] = Counter()
    refused = sum(decides == REFUSED for _, decides, _, _ in results)
    for design, decides, claim, drifting in results:
        if decides == REFUSED:
            continue
        for label in ("compare, all", f"compare, {design}", f"compare, decided by {decides}"):
            counts[label] += 1
            claims[label] += claim
        for label in ("drift, all sessions", f"drift, {design}"):
            counts[label] += len(drifting)
            claims[label] += sum(drifting)
    print("| row | looks | claims | p |\n|---|---|---|---|")
    for label in sorted(count for count in counts if counts[count]):
        print(row(label, claims[label], counts[label]))
    print(f"\n{pairs} pairs of identical builds, seed {seed}; {refused} refused because too few throws succeeded.")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))

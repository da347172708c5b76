"""Throws that `next` advises against evenly spaced ones: python -m tests.benchmarks.next_throws [benches] [seed].

Four throws with slow wheels, then up to 8 more: as `suggest` advises, two at a time with a fit after each, until it
says that enough is known; or as many evenly spaced over the wheel speeds that it chooses from. The table gives the
width of the grip limit's 95 % interval over its value, after both. The launcher of every third bench loses exit speed
with fast wheels, of which the configuration says nothing, and counts as found where the fit says that the model does
not fit. Markdown.
"""

from __future__ import annotations

import sys

import numpy as np

from stager.fit.experiment_design import suggest
from stager.fit.fitting import fit
from stager.fit.posterior import Fit
from stager.fit.prediction import DRAWS, after, feed, finder, limits, span_of
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import throw
from tests.recovery.bench import scenario, settings, table, working

NAMES = ("seed_ball", "table_tennis", "constant_pair", "streamer", "bell_pair")
SCATTER, FIRST, MORE, AT_ONCE = 0.012, 4, 8, 2
MISFIT = 0.15
"""Share of exit speed lost at the fastest wheel of the range by launchers with a misfit [-]; none at the slowest."""


def width(done: Fit, given: Scenario, rng: np.random.Generator) -> float:
    """Return the width of the grip limit's 95 % interval over its value [-]."""
    ensemble = after(done, rng, DRAWS)
    span = span_of(limits(finder(given)(ensemble.launcher, 0, *feed(ensemble))))
    return float((span.high - span.low) / span.nominal)


def bench(name: str, rng: np.random.Generator, *, misfit: bool) -> tuple[int, float, float, bool, bool]:
    """Return the number of advised throws, both widths, and whether each session ends with a misfit said."""
    given = scenario(name)
    fast = settings(given, 24, rng)
    _, real = working(given, fast, rng)
    low, high = float(fast.min()), float(fast.max())

    def measured(speeds: Floats) -> Floats:
        lost = MISFIT * np.clip((speeds - low) / (high - low), 0.0, 1.0) ** 4 if misfit else 0.0
        exact = throw(real, speeds[:, None]).exit_speed * (1 - lost)
        return np.asarray(np.maximum(exact * (1 + SCATTER * rng.normal(size=speeds.size)), 0.0))

    begun = np.linspace(low, 0.5 * (low + high), FIRST)
    first = measured(begun)
    speeds, exits, reach = begun, first, np.zeros(0)
    done = fit(given, table(speeds[:, None], exits), rng, words=False)
    for _ in range(MORE // AT_ONCE):
        plan = suggest(done, finder(given), rng, throws=AT_ONCE)
        reach = plan.wheel_speed if reach.size == 0 else reach
        if plan.enough:
            break
        more = np.array([one.wheel_speed[0] for one in plan.plan])
        speeds, exits = np.append(speeds, more), np.append(exits, measured(more))
        done = fit(given, table(speeds[:, None], exits), rng, words=False)
    thrown = speeds.size - FIRST
    even = np.linspace(reach.min(), reach.max(), thrown)
    other = table(np.append(begun, even)[:, None], np.append(first, measured(even)))
    found = [done, fit(given, other, rng, words=False)]
    widths = [width(done, given, rng) for done in found]
    return thrown, widths[0], widths[1], bool(found[0].misfits), bool(found[1].misfits)


def main(benches: int = 30, seed: int = 1) -> None:
    """Print each bench, and the median ratio of the widths."""
    print("| bench | advised | evenly spaced | ratio | misfit planted, found by both |\n|---|---|---|---|---|")
    ratios, found = [], []
    for k in range(benches):
        misfit = k % 3 == 2
        name = NAMES[k % len(NAMES)]
        thrown, ours, theirs, said, other = bench(name, np.random.default_rng([seed, k]), misfit=misfit)
        if misfit:
            found.append((said, other))
        elif thrown:
            ratios.append(ours / theirs)
        widths = f"{ours:.4f} | {theirs:.4f} | {ours / theirs:.2f}"
        print(f"| {name}, {thrown} throws | {widths} | {misfit}, {said}, {other} |", flush=True)
    said = np.sum(found, axis=0) if found else np.zeros(2)
    print(f"\nMedian ratio of {len(ratios)} with advised throws and no misfit: {np.median(ratios):.2f}.")
    print(f"Misfits found: {said} of {len(found)}.")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))

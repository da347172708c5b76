"""Throws that `next` advises against evenly spaced ones: python -m tests.benchmarks.next_throws [benches] [seed].

Four throws with slow wheels, then 8 more: as `suggest` advises, four at a time with a fit after each; or as many
evenly spaced over the wheel speeds that it chooses from. The table gives the
width of the grip limit's 95 % interval over its value, after both. The launcher of every third bench does what the
model knows nothing of, one of MISFITS in turn, and counts as noticed where the fit says that the model does not fit,
that the launcher drifts, or that one throw does not agree with the others. Markdown.
"""

from __future__ import annotations

import sys

import numpy as np

from stager.fit.experiment_design import MeasuredSettings, suggest
from stager.fit.fitting import fit
from stager.fit.posterior import Fit
from stager.fit.prediction import DRAWS, after, behind, finder, limits, span_of
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import throw
from stager.report.fit import dated
from tests.recovery.bench import scenario, settings, table, working

NAMES = ("seed_ball", "table_tennis", "constant_pair", "streamer", "bell_pair")
SCATTER, FIRST, MORE, AT_ONCE = 0.012, 4, 8, 4
MISFITS = ("loses 12 % where its frame resonates", "loses 1 % a throw", "read in mph from the fifth throw on")
DIP, BAND, WEAR, MPH = 0.12, 0.08, 0.01, 2.23694
"""Share of exit speed lost at the resonance, its half width over its wheel speed, loss a throw; (m/s)/mph [-]."""


def misfit_factor(kind: str | None, speeds: Floats, order: Floats, resonance: float) -> Floats:
    """Return the factor on exit speeds by a misfit, (throws,) [-]."""
    if kind == MISFITS[0]:
        return np.where(np.abs(speeds / resonance - 1) < BAND, 1 - DIP, 1.0)
    if kind == MISFITS[1]:
        return np.asarray((1 - WEAR) ** order)
    if kind == MISFITS[2]:
        return np.where(order >= FIRST, MPH, 1.0)
    return np.ones_like(speeds)


def width(done: Fit, given: Scenario, rng: np.random.Generator) -> float:
    """Return the width of the grip limit's 95 % interval over its value [-]."""
    ensemble = after(done, rng, DRAWS)
    span = span_of(limits(finder(given)(ensemble.launcher, 0, behind(ensemble, np.zeros(0), np.zeros(0)))))
    return float((span.high - span.low) / span.nominal)


def noticed(done: Fit) -> bool:
    """Whether a fit says that something is wrong."""
    return bool(done.misfits) or bool(dated(done)) or MeasuredSettings.of(done).doubtful.size > 0


def bench(name: str, rng: np.random.Generator, *, misfit: str | None) -> tuple[int, float, float, bool, bool]:
    """Return the number of advised throws, both widths, and whether something wrong is noticed in each session."""
    given = scenario(name)
    fast = settings(given, 24, rng)
    _, real = working(given, fast, rng)
    low, high = float(fast.min()), float(fast.max())
    resonance = rng.uniform(low + 0.5 * (high - low), low + 0.75 * (high - low))

    def measured(speeds: Floats, thrown: int) -> Floats:
        factor = misfit_factor(misfit, speeds, thrown + np.arange(speeds.size), resonance)
        exact = throw(real, speeds[:, None]).exit_speed * factor
        return np.asarray(np.maximum(exact * (1 + SCATTER * rng.normal(size=speeds.size)), 0.0))

    begun = np.linspace(low, 0.5 * (low + high), FIRST)
    first = measured(begun, 0)
    speeds, exits, reach = begun, first, np.zeros(0)
    done = fit(given, table(speeds[:, None], exits), rng, words=False)
    for _ in range(MORE // AT_ONCE):
        plan = suggest(done, finder(given), rng, throws=AT_ONCE)
        reach = plan.wheel_speed if reach.size == 0 else reach
        if not plan.plan:
            break
        more = np.array([one.wheel_speed[0] for one in plan.plan])
        speeds, exits = np.append(speeds, more), np.append(exits, measured(more, speeds.size))
        done = fit(given, table(speeds[:, None], exits), rng, words=False)
    thrown = speeds.size - FIRST
    even = np.linspace(reach.min(), reach.max(), thrown)
    other = table(np.append(begun, even)[:, None], np.append(first, measured(even, FIRST)))
    found = [done, fit(given, other, rng, words=False)]
    widths = [width(done, given, rng) for done in found]
    return thrown, widths[0], widths[1], noticed(found[0]), noticed(found[1])


def main(benches: int = 30, seed: int = 1) -> None:
    """Print each bench, and the median ratio of the widths."""
    print("| bench | advised | evenly spaced | ratio | planted, noticed by both |\n|---|---|---|---|---|")
    ratios = []
    found: dict[str | None, list[tuple[bool, bool]]] = {kind: [] for kind in (None, *MISFITS)}
    for k in range(benches):
        misfit = MISFITS[k // 3 % len(MISFITS)] if k % 3 == 2 else None
        name = NAMES[k % len(NAMES)]
        thrown, ours, theirs, said, other = bench(name, np.random.default_rng([seed, k]), misfit=misfit)
        found[misfit].append((said, other))
        if misfit is None and thrown:
            ratios.append(ours / theirs)
        widths = f"{ours:.4f} | {theirs:.4f} | {ours / theirs:.2f}"
        print(f"| {name}, {thrown} throws | {widths} | {misfit or 'none'}, {said}, {other} |", flush=True)
    print(f"\nMedian ratio of {len(ratios)} with advised throws and no misfit: {np.median(ratios):.2f}.")
    for kind, both in found.items():
        if both:
            said = np.sum(both, axis=0)
            print(f"- {kind or 'no misfit'}: noticed in {said[0]} and {said[1]} of {len(both)}.")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))

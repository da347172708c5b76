"""Rates of false and true claims of `compare`.

Designs: equal and unequal numbers of throws, unequal scatter, 10 % outliers, rounded readings, a drift that both
builds share because they take turns. Run it as `python -m tests.benchmarks.comparing`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.compare import difference_by_settings
from stager.fit.table import Throws
from stager.model.arrays import Floats
from tests.recovery.bench import table

SETTINGS = np.array([8.0, 10.0, 12.0, 14.0, 16.0, 18.0])
SCATTER = 0.01


@dataclass(frozen=True, kw_only=True)
class Design:
    """Design of a comparison.

    counts : throws of each build per setting
    scatter : relative scatter of each build [-]
    wild : share of outliers [-]
    step : rounding of exit speeds [m/s]
    drift : relative drift over the session [-]
    """

    counts: tuple[int, int] = (3, 3)
    scatter: tuple[float, float] = (SCATTER, SCATTER)
    wild: float = 0.0
    step: float = 0.0
    drift: float = 0.0
    settings: int = 6


DESIGNS = {
    "equal": Design(),
    "unequal sizes": Design(counts=(6, 2)),
    "unequal scatter": Design(scatter=(SCATTER, 4 * SCATTER)),
    "unequal both": Design(counts=(8, 2), scatter=(SCATTER, 4 * SCATTER)),
    "one setting, unequal scatter": Design(counts=(4, 4), scatter=(SCATTER, 4 * SCATTER), settings=1),
    "10 % wild": Design(wild=0.1),
    "10 % wild, one setting": Design(counts=(8, 8), wild=0.1, settings=1),
    "rounded": Design(step=0.1),
    "interleaved drift": Design(drift=0.05),
}


def measured(design: Design, rng: np.random.Generator, difference: float = 0.0) -> Throws:
    """Return interleaved throws of builds A and B at settings in random order; B is faster by `difference` [-]."""
    settings = SETTINGS[: design.settings]
    speeds = [np.repeat(settings, count) for count in design.counts]
    speeds = [rng.permutation(one) for one in speeds]
    names = rng.permutation(np.repeat(["A", "B"], [one.size for one in speeds]))
    wheel = np.empty(names.size)
    scatter = np.empty(names.size)
    for name, one, own in zip("AB", speeds, design.scatter, strict=True):
        wheel[names == name], scatter[names == name] = one, own
    exits = _curve(wheel) * np.where(names == "B", 1 + difference, 1.0)
    exits = exits * (1 - design.drift * np.linspace(0, 1, names.size))
    error = scatter * rng.normal(size=names.size)
    odd = rng.random(names.size) < design.wild
    error = np.where(odd, scatter * rng.choice([-1, 1], names.size) * rng.uniform(5, 20, names.size), error)
    exits = exits * (1 + error)
    if design.step:
        exits = np.round(exits / design.step) * design.step
    return table(wheel[:, None], exits, names.tolist())


def _curve(wheel: Floats) -> Floats:
    """Return exit speeds of an arbitrary curve."""
    return 11 * (1 - np.exp(-wheel / 9))


def rate(design: Design, runs: int, seed: int = 0, difference: float = 0.0) -> float:
    """Return the share of runs in which a difference is claimed."""
    rng = np.random.default_rng(seed)
    thrown = [measured(design, rng, difference) for _ in range(runs)]
    found = [difference_by_settings(throws, throws.build == "A") for throws in thrown]
    return float(np.mean([one is not None and one.probability < 0.05 for one in found]))


def main(runs: int = 2000) -> None:
    """Print the rates."""
    for name, design in DESIGNS.items():
        print(f"{name:30s} false claims {100 * rate(design, runs):5.1f} %")
    found = rate(DESIGNS["equal"], runs, difference=0.02)
    print(f"{'2 % at 6 x 3 throws of 1 %':30s} found        {100 * found:5.1f} %")


if __name__ == "__main__":
    main()

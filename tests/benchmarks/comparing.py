"""How often `compare` claims a difference where there is none, and finds one where there is.

Ways of measuring: equal numbers of throws, unequal numbers, unequal scatter, 10 % wild throws, rounded readings, a
drift that both builds share as they take turns. Run it as `python -m tests.benchmarks comparing`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.compare import claim
from stager.fit.table import Throws
from stager.model.arrays import Floats
from tests.recovery.bench import table

SETTINGS = np.array([8.0, 10.0, 12.0, 14.0, 16.0, 18.0])
SCATTER = 0.01


@dataclass(frozen=True, kw_only=True)
class Way:
    """How two builds are measured: throws of each at each setting, scatter of each [-], share of wild throws, step to
    which speeds are rounded [m/s], drift over the session [-]."""

    counts: tuple[int, int] = (3, 3)
    scatter: tuple[float, float] = (SCATTER, SCATTER)
    wild: float = 0.0
    step: float = 0.0
    drift: float = 0.0
    settings: int = 6


WAYS = {
    "equal": Way(),
    "unequal sizes": Way(counts=(6, 2)),
    "unequal scatter": Way(scatter=(SCATTER, 4 * SCATTER)),
    "unequal both": Way(counts=(8, 2), scatter=(SCATTER, 4 * SCATTER)),
    "one setting, unequal scatter": Way(counts=(4, 4), scatter=(SCATTER, 4 * SCATTER), settings=1),
    "10 % wild": Way(wild=0.1),
    "10 % wild, one setting": Way(counts=(8, 8), wild=0.1, settings=1),
    "rounded": Way(step=0.1),
    "interleaved drift": Way(drift=0.05),
}


def measured(way: Way, rng: np.random.Generator, difference: float = 0.0) -> Throws:
    """Throws of builds A and B, taking turns in a random order of settings; B is faster by `difference` [-]."""
    settings = SETTINGS[: way.settings]
    speeds = [np.repeat(settings, count) for count in way.counts]
    speeds = [rng.permutation(one) for one in speeds]
    names = rng.permutation(np.repeat(["A", "B"], [one.size for one in speeds]))
    wheel = np.empty(names.size)
    scatter = np.empty(names.size)
    for name, one, own in zip("AB", speeds, way.scatter, strict=True):
        wheel[names == name], scatter[names == name] = one, own
    exits = _curve(wheel) * np.where(names == "B", 1 + difference, 1.0)
    exits = exits * (1 - way.drift * np.linspace(0, 1, names.size))
    error = scatter * rng.normal(size=names.size)
    odd = rng.random(names.size) < way.wild
    error = np.where(odd, scatter * rng.choice([-1, 1], names.size) * rng.uniform(5, 20, names.size), error)
    exits = exits * (1 + error)
    if way.step:
        exits = np.round(exits / way.step) * way.step
    return table(wheel[:, None], exits, names.tolist())


def _curve(wheel: Floats) -> Floats:
    """Some curve that no test knows."""
    return 11 * (1 - np.exp(-wheel / 9))


def rate(way: Way, runs: int, seed: int = 0, difference: float = 0.0) -> float:
    """Share of runs in which a difference is claimed."""
    rng = np.random.default_rng(seed)
    return float(np.mean([claim(measured(way, rng, difference), ("A", "B")).probability < 0.05 for _ in range(runs)]))


def main(runs: int = 2000) -> None:
    """Print the rates."""
    for name, way in WAYS.items():
        print(f"{name:30s} false claims {100 * rate(way, runs):5.1f} %")
    print(f"{'2 % at 6 x 3 throws of 1 %':30s} found        {100 * rate(WAYS['equal'], runs, difference=0.02):5.1f} %")


if __name__ == "__main__":
    main()

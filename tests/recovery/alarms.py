"""False claims on pairs of identical builds: simulated designs, and the claims of compare and of the drift test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.compare import DRIFT_LEVEL, compare, drifts
from stager.fit.priors import own_law
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from tests.recovery.bench import Plan, draw_truth, measure, settings, table


@dataclass(frozen=True, kw_only=True)
class Design:
    """Design of a comparison: distinct settings, repeats, same settings for both builds, random order."""

    distinct: int
    repeats: int
    same: bool
    shuffled: bool


DESIGNS = {
    "one setting, 8 throws": Design(distinct=1, repeats=8, same=True, shuffled=True),
    "6 settings, 3 throws": Design(distinct=6, repeats=3, same=True, shuffled=True),
    "12 settings, 1 throw": Design(distinct=12, repeats=1, same=True, shuffled=True),
    "own settings": Design(distinct=12, repeats=2, same=False, shuffled=True),
    "12 settings, in order": Design(distinct=12, repeats=1, same=True, shuffled=False),
}


def one_pair(given: Scenario, design: Design, rng: np.random.Generator) -> tuple[bool, str, list[bool]]:
    """Simulate a pair; return whether a difference is claimed, by which test, and the drift claims per session."""
    truth = draw_truth(given, rng)
    real = own_law(given).launcher(given, truth)
    plan = Plan(noise=float(rng.uniform(0.005, 0.03)), throws=0, outliers=0.0)
    speeds, exits = [], []
    for _ in range(2):
        chosen = np.repeat(_settings(given, design, rng, speeds), design.repeats, axis=0)
        if design.shuffled:
            rng.shuffle(chosen)
        speeds.append(chosen)
        exits.append(measure(given, real, chosen, plan, rng).exit_speed)
    names = ["A"] * exits[0].size + ["B"] * exits[1].size
    both = table(np.concatenate(speeds), np.concatenate(exits), names)
    compared = compare(given, both, ("A", "B"), rng, brief=True)
    sessions = [drifts(given, both.chosen(both.build == name), rng)[0] for name in ("A", "B")]
    looked = [one.change.probability < DRIFT_LEVEL for one in sessions if one.change is not None]
    return compared.different, compared.decides, looked


def _settings(given: Scenario, design: Design, rng: np.random.Generator, before: list[Floats]) -> Floats:
    if design.same and before:
        return np.unique(before[0], axis=0)
    whole = np.unique(settings(given, 60, rng), axis=0)
    rows = np.sort(rng.choice(len(whole), design.distinct, replace=len(whole) < design.distinct))
    return whole[rows] * (1.0 if design.same else rng.uniform(0.98, 1.02, (design.distinct, 1)))

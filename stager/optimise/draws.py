"""Draw possible launchers from what is uncertain about one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario, Uncertain

ROOT_3 = np.sqrt(3.0)
"""Half width of a rectangular distribution over its standard deviation [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Drawn values and the launchers that have them.

    values : by key in SI, each (lanes,); lane 0 is the configuration's own
    launcher : with arrays over the lanes
    lanes : number of draws and the nominal launcher
    """

    values: Mapping[str, Floats]
    launcher: Launcher
    lanes: int


def draw(scenario: Scenario, count: int, rng: np.random.Generator) -> Draws:
    """Return the nominal launcher and `count` draws.

    Posterior draws of a fit are taken by whole rows, which keeps their correlation. Every other uncertain quantity is
    drawn by itself by Latin hypercube sampling (McKay, Beckman, Conover 1979).
    """
    values: dict[str, Floats] = {}
    fitted = scenario.draws or {}
    if fitted:
        size = next(iter(fitted.values())).size
        rows = rng.permutation(np.resize(rng.permutation(size), count))
        for key, drawn in fitted.items():
            values[key] = np.concatenate([[scenario.values.get(key, float(np.median(drawn)))], drawn[rows]])
    for item in scenario.uncertain:
        if item.key not in values:
            slices = (rng.permutation(count) + rng.uniform(size=count)) / count
            values[item.key] = np.concatenate([[item.value], quantile(item, slices)])
    launcher = scenario.realise(dict[str, Number](values)) if values else scenario.launcher
    return Draws(values=values, launcher=launcher, lanes=count + 1)


def quantile(item: Uncertain, share: Floats) -> Floats:
    """Return the value below which `share` of the distribution lies, in the quantity's unit.

    Normal, cut to the key's valid range, or rectangular of half-width √3 u (JCGM 101, 6.4.2).
    """
    from scipy.special import ndtr, ndtri

    spread = item.standard_uncertainty
    if item.rectangular:
        low, high = max(item.value - ROOT_3 * spread, item.low), min(item.value + ROOT_3 * spread, item.high)
        return np.asarray(low + share * (high - low))
    below, above = (float(ndtr((end - item.value) / spread)) for end in (item.low, item.high))
    return np.asarray(np.clip(item.value + spread * ndtri(below + share * (above - below)), item.low, item.high))


def is_uncertain(scenario: Scenario) -> bool:
    """Return whether anything of a scenario is uncertain."""
    return bool(scenario.uncertain or scenario.draws)

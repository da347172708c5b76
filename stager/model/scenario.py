"""A launcher with its uncertainties, limits and goal: what a configuration file describes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import Goal, LimitValues


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertain:
    """One uncertain quantity.

    key: its dotted place in the configuration ("contact.stiffness", "stages.2.crush");
    value, standard_uncertainty, low, high in SI (low, high: the key's valid range);
    rectangular: the distribution is uniform (half-width √3 × standard_uncertainty), else normal.
    """

    key: str
    value: float
    standard_uncertainty: float
    low: float = -np.inf
    high: float = np.inf
    rectangular: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """What a configuration file describes.

    `realise(values)` gives the launcher with the named quantities (SI, floats or arrays over the batch) in place of
    the configuration's; `values` holds every quantity of the configuration by key, in SI.
    `uncertain`: what a throw depends on; `flight_uncertain`: what its flight depends on besides, which throws past a
    chronograph say nothing about.
    `draws`, where a fit has left them: posterior draws by key, correlated, each of shape (draws,).
    """

    title: str
    launcher: Launcher
    limit_values: LimitValues
    goal: Goal
    values: Mapping[str, float]
    uncertain: tuple[Uncertain, ...]
    realise: Callable[[Mapping[str, Number]], Launcher]
    draws: Mapping[str, Floats] | None = None
    flight_uncertain: tuple[Uncertain, ...] = ()

"""A launcher with its uncertain quantities, limits and goal: the content of a configuration file."""

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

    key: its dotted place in the configuration ("contact.stiffness", "stages.2.crush")
    value, standard_uncertainty: in SI
    low, high: the key's valid range, in SI
    rectangular: the distribution is uniform with half-width √3 × standard_uncertainty, else normal
    """

    key: str
    value: float
    standard_uncertainty: float
    low: float = -np.inf
    high: float = np.inf
    rectangular: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """The content of a configuration file.

    values: every quantity of the configuration by its key, in SI
    uncertain: uncertain quantities that a throw depends on
    realise: returns the launcher with the given quantities (SI, floats or arrays over the batch) in place of `values`
    draws: correlated posterior draws of a fit by key, each of shape (draws,); None: no fit
    flight_uncertain: uncertain quantities that only the flight depends on; throws past a chronograph do not inform them
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

    @property
    def guessed(self) -> bool:
        """Whether no throws stand behind what contact and friction are uncertain of."""
        return self.draws is None and any(one.key.startswith("contact.") for one in self.uncertain)

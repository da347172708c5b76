"""Drift within a session: does exit speed change from throw to throw beyond what the settings do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.fit.contrast import by_model, by_settings, steady
from stager.fit.fitting import noise_of, usable
from stager.fit.laws import own_law
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.criteria import holm
from stager.fit.statistics.trend import Together
from stager.fit.statistics.welch import Difference
from stager.fit.table.record import Throws, clock
from stager.model.scenario import Scenario

LEVEL = 0.05
ENOUGH = 4.0
LEAST_THROWS = 8
TELLS = 0.1
"""Share of the order that must be free of the settings; else drift and settings cannot be told apart."""

TOGETHER = "wheel speed and order rise together; shuffle the settings to tell drift from them"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Drift of one build, from its first throw to its last: relative change of exit speed [-].

    by: "order" or "time"; change: None where it cannot be told from the settings, `reason` says why;
    adjusted: p value adjusted for the number of builds looked at.
    """

    build: str
    throws: int
    by: str
    change: Difference | None
    adjusted: float
    reason: str = ""

    @property
    def claimed(self) -> bool:
        """Whether a drift is claimed, at the 5 % level over all builds."""
        return self.change is not None and self.adjusted < LEVEL


def drifts(scenario: Scenario, throws: Throws, rng: np.random.Generator) -> tuple[Drift, ...]:
    """Drift of every build of `throws`."""
    good = throws.chosen(usable(throws))
    found = [_drift(scenario, good.chosen(good.build == build), build, rng) for build in good.builds]
    known = [k for k, one in enumerate(found) if one[1] is not None]
    adjusted = dict(zip(known, holm([_p(found[k][1]) for k in known]), strict=True))
    return tuple(
        Drift(build=build, throws=count, by=by, change=change, adjusted=adjusted.get(k, 1.0), reason=reason)
        for k, ((build, count, by, reason), change) in enumerate(found)
    )


Row = tuple[str, int, str, str]


def _drift(scenario: Scenario, throws: Throws, build: str, rng: np.random.Generator) -> tuple[Row, Difference | None]:
    count = len(throws)
    by, column = clock(throws)
    if count < LEAST_THROWS or np.ptp(column) == 0:
        return (build, count, by, f"needs at least {LEAST_THROWS} throws in a known order"), None
    column = (column - column.min()) / np.ptp(column)
    own = _own_settings(throws, column)
    if own is not None:
        return (build, count, by, ""), own
    found = best_fit(scenario, own_law(scenario), throws, noise_of(throws), rng)
    change, reason = _beside_model(found, column)
    return (build, count, by, reason), change


def _own_settings(throws: Throws, column: NDArray[np.float64]) -> Difference | None:
    """From throws at the same setting early and late, which needs no model; sure outliers are left out."""
    logs = np.log(throws.exit_speed)
    good = steady(logs, throws.settings, noise_of(throws))
    try:
        change, left = by_settings(logs[good], column[good], throws.settings[good])
    except ValueError:
        return None
    return change if left >= TELLS and change.freedom >= ENOUGH else None


def _beside_model(found: BestFit, column: NDArray[np.float64]) -> tuple[Difference | None, str]:
    try:
        change, left = by_model(found, column)
    except Together:
        return None, TOGETHER
    except ValueError as error:
        return None, str(error)
    return (change, "") if left >= TELLS else (None, TOGETHER)


def _p(change: Difference | None) -> float:
    return 1.0 if change is None else change.probability

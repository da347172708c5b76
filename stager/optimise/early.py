"""The bound, begun before the best settings are known for sure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stager.bounds import Bound, bound
from stager.model.scenario import Scenario
from stager.optimise.aims import exit_cap
from stager.optimise.climb import most_stages
from stager.parallel import Executor

BELOW_CAP = 0.98
"""Share of the cap below which wheels, or settings of the maps, do not reach it in the true model."""


@dataclass(slots=True)
class Early:
    """Begins the bound of `scenario` with `executor` once it is known how fast it gets, if that is below the cap: there
    nothing need be proven. begun: waits for the bound."""

    scenario: Scenario
    executor: Executor
    begun: Callable[[], Bound] | None = None

    def seen(self, exit_speed: float) -> None:
        """Called with a speed that exits do not exceed by much [m/s]; again where a lower one is known."""
        if self.begun is None and exit_speed < BELOW_CAP * exit_cap(self.scenario):
            self.begun = self.executor.submit(bound, self.scenario, most_stages(self.scenario))

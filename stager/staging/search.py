"""The best wheel speeds for a given number of stages.

Where the exit speed of a stage rises with its entry speed, the fastest chain is the fastest stage after the fastest
stage. A cap on exit speed or a budget of slip heat asks for the least heat that reaches a speed: a dynamic programme
over entry speed, on tables, whose choices are then made again with the exact contact.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.staging.stage import Choice, Chooser, Passing
from stager.staging.table import StageTable, chain_tables, heat_to_go, interpolate

CAP_TOLERANCE = 1e-4
TRIES = 4


class Search(Protocol):
    """What a plan asks for. Wheel speeds have shape (stages,) [m/s]; None: nothing gets through."""

    def fastest(self, count: int) -> Floats | None:
        """The fastest chain under the local limits."""
        ...

    def reaching(self, count: int, target: float) -> Floats | None:
        """A chain that leaves just below `target` [m/s] with the least slip heat that was found."""
        ...

    def within_heat(self, count: int, heat: float, cap: float) -> Floats | None:
        """The fastest chain up to `cap` [m/s] with at most `heat` [J] of slip heat."""
        ...


class ChainSearch:
    """Search for stages that act one after the other."""

    def __init__(self, scenario: Scenario) -> None:
        launcher = scenario.launcher
        self.chooser = Chooser(launcher, scenario.allowances)
        self.entry = Passing(float(launcher.feed.speed), 0.0)
        self._chain: list[Choice | None] = []
        self._tables: dict[int, list[StageTable]] = {}
        self._known: dict[int, StageTable] = {}

    def fastest(self, count: int) -> Floats | None:
        """See Search."""
        chain = self._fastest(count)
        return None if chain is None else _speeds(chain)

    def reaching(self, count: int, target: float) -> Floats | None:
        """See Search."""
        chain = self._reaching(count, target)
        return None if chain is None else _speeds(chain)

    def within_heat(self, count: int, heat: float, cap: float) -> Floats | None:
        """See Search."""
        chain = self._fastest(count)
        if chain is None:
            return None
        tables = self._tabulated(count)
        low, high = 0.0, min(cap, chain[-1].after.speed)
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (middle, high) if heat_to_go(tables, middle)[0][0] <= heat else (low, middle)
        target = low
        for _ in range(TRIES):
            found = self._reaching(count, target)
            used = np.inf if found is None else sum(choice.slip_heat for choice in found)
            if found is not None and used <= heat:
                return _speeds(found)
            target *= 1 - max(2e-3, 0.6 * (used / heat - 1)) if np.isfinite(used) else 0.99
        return None

    def _fastest(self, count: int) -> list[Choice] | None:
        while len(self._chain) < count:
            entry = self._chain[-1].after if self._chain and self._chain[-1] is not None else self.entry
            if self._chain and self._chain[-1] is None:
                return None
            self._chain.append(self.chooser.fastest(len(self._chain), entry))
        chain = [choice for choice in self._chain[:count] if choice is not None]
        return chain if len(chain) == count else None

    def _tabulated(self, count: int) -> list[StageTable]:
        if count not in self._tables:
            chain = self._fastest(count) or []
            after = [choice.after for choice in chain]
            self._tables[count] = chain_tables(self.chooser, count, self.entry, after, self._known)
        return self._tables[count]

    def _reaching(self, count: int, target: float) -> list[Choice] | None:
        chain = self._fastest(count)
        if chain is None or chain[-1].after.speed < target * (1 - 5e-4):
            return None
        just = min(target * (1 - CAP_TOLERANCE), chain[-1].after.speed)
        tables = self._tabulated(count)
        to_go = heat_to_go(tables, just)
        entry, found = self.entry, []
        for index in range(count - 1):
            choice = self.chooser.best(index, entry, _least(tables[index + 1].entry, to_go[index + 1]))
            if choice is None:
                return self._slowed(chain, just)
            found.append(choice)
            entry = choice.after
        last = self._last(count - 1, entry, just)
        return self._slowed(chain, just) if last is None else [*found, last]

    def _last(self, index: int, entry: Passing, target: float) -> Choice | None:
        top = self.chooser.fastest(index, entry)
        return None if top is None else self.chooser.reaching(index, entry, target, upto=top)

    def _slowed(self, chain: list[Choice], target: float) -> list[Choice] | None:
        """The fastest chain with its last stage slowed to `target`."""
        entry = chain[-2].after if len(chain) > 1 else self.entry
        last = self.chooser.reaching(len(chain) - 1, entry, target, upto=chain[-1])
        return None if last is None else [*chain[:-1], last]


def _least(entries: Floats, to_go: Floats) -> Callable[[Floats, Floats], Floats]:
    def score(exit_speed: Floats, heat: Floats) -> Floats:
        return -(heat + interpolate(entries, to_go, exit_speed))

    return score


def _speeds(chain: list[Choice]) -> Floats:
    return np.array([choice.wheel_speed for choice in chain])

"""The search alone, and scenarios with changed limits, for tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from stager.constraints import LIMITS
from stager.model.launcher import Scenario
from stager.optimise.clock import Clock
from stager.optimise.parts import BestDesign, choose, select
from stager.optimise.records import Settings

FLOORS = {limit.name for limit in LIMITS if limit.floor}
UNLIMITED = {"exit_energy": 1e9, "grip_margin": 1e-6}


def solved(scenario: Scenario) -> list[BestDesign]:
    """Return the best design of each number of stages."""
    return select(scenario, Clock()).rows


def best_of(scenario: Scenario) -> Settings | None:
    """Return the fastest design, or the one with fewest stages that reaches the goal."""
    row = choose(scenario, solved(scenario))
    return None if row is None else row.settings


def speed_of(scenario: Scenario) -> float:
    """Return the exit speed of the best design [m/s], 0 if none is feasible."""
    best = best_of(scenario)
    return 0.0 if best is None else best.exit_speed


def with_limits(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """Return the scenario with these limit values."""
    changes: dict[str, Any] = {name: round(value) if name == "stages" else value for name, value in values.items()}
    return replace(scenario, limit_values=replace(scenario.limit_values, **changes))


AIR = 288.15
"""Temperature of the air [K]: a temperature limit is looser by a share of the rise above it."""


def looser(scenario: Scenario, names: Iterable[str], factor: float) -> Scenario:
    """Return the scenario with the named limits looser by `factor`; a lower bound is divided by it."""
    values = scenario.limit_values

    def loose(name: str) -> float:
        value, origin = getattr(values, name), AIR if name == "winding_temperature" else 0.0
        return float(value / factor if name in FLOORS else origin + factor * (value - origin))

    return with_limits(scenario, {name: loose(name) for name in names})


def without(scenario: Scenario, names: Iterable[str]) -> Scenario:
    """Return the scenario without the named limits; `stages` is raised by six."""
    values = scenario.limit_values
    free: dict[str, Any] = {name: UNLIMITED.get(name) for name in names}
    if "stages" in free:
        free["stages"] = values.stages + 6
    return replace(scenario, limit_values=replace(values, **free))

"""A scenario with limits looser, or without them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from stager.constraints import GEOMETRY
from stager.model.requirements import LimitValues
from stager.model.scenario import Scenario

BUILT = frozenset(limit.name for limit in GEOMETRY)
FLOORS = frozenset(("grip_margin", "rim_safety"))
UNLIMITED = {"exit_energy": 1e9, "grip_margin": 1e-6}
"""In place of limits that cannot be left out."""
MANY = 6


def is_set(scenario: Scenario, name: str) -> bool:
    """Whether the limit is a number of the user's own."""
    value = getattr(scenario.limit_values, name, None)
    known = isinstance(value, float | int) and value > 0
    return known or (name == "acceleration" and _strained(scenario))


def looser(scenario: Scenario, names: Iterable[str], factor: float) -> Scenario:
    """With each of the named limits, all set, looser by `factor`; a floor is divided by it, stages are whole."""
    changes: dict[str, Any] = {name: _loose(scenario.limit_values, name, factor) for name in names}
    eased = replace(scenario, limit_values=replace(scenario.limit_values, **changes))
    return _tougher(eased, factor) if "acceleration" in changes else eased


def without(scenario: Scenario, names: Iterable[str]) -> Scenario:
    """Without the named limits; of stages there may be six more."""
    names = tuple(names)
    changes: dict[str, Any] = {name: UNLIMITED.get(name) for name in names if hasattr(scenario.limit_values, name)}
    if "stages" in changes:
        changes["stages"] = scenario.limit_values.stages + MANY
    freed = replace(scenario, limit_values=replace(scenario.limit_values, **changes))
    return _tougher(freed, None) if "acceleration" in names else freed


def with_limits(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """With limits at `values`, in their units."""
    changes: dict[str, Any] = {name: round(value) if name == "stages" else value for name, value in values.items()}
    return replace(scenario, limit_values=replace(scenario.limit_values, **changes))


def _loose(limit_values: LimitValues, name: str, factor: float) -> float | None:
    value = getattr(limit_values, name)
    if value is None:
        return None
    if name == "stages":
        return int(value * factor + 1e-9)
    return float(value / factor if name in FLOORS else value * factor)


def _strained(scenario: Scenario) -> bool:
    return scenario.launcher.projectile.max_acceleration is not None


def _tougher(scenario: Scenario, factor: float | None) -> Scenario:
    """The projectile takes more acceleration by `factor`, None: any."""
    projectile = scenario.launcher.projectile
    if projectile.max_acceleration is None:
        return scenario
    most = None if factor is None else projectile.max_acceleration * factor
    launcher = replace(scenario.launcher, projectile=replace(projectile, max_acceleration=most))
    return replace(scenario, launcher=launcher)

"""From a configuration's tables to limits and goal."""

from __future__ import annotations

from typing import Any

from stager.config.machine import File
from stager.model.requirements import Aim, Goal, LimitValues
from stager.physics.safety import TOY_LIMITS
from stager.units import Measured


def build_limit_values(file: File) -> LimitValues:
    """The limits in SI."""
    limits = file.limits
    values: dict[str, Any] = {name: _plain(getattr(limits, name)) for name in type(limits).model_fields}
    values["toy"] = next((toy for toy in TOY_LIMITS if toy.name == limits.toy), None)
    return LimitValues(**values)


def build_goal(file: File) -> Goal:
    """The goal in SI."""
    goal = file.goal
    return Goal(
        aim=Aim(goal.aim),
        exit_speed=_plain(goal.exit_speed),
        spin=_plain(goal.spin),
        worthwhile=goal.worthwhile.value,
    )


def _plain(value: Any) -> Any:
    return value.value if isinstance(value, Measured) else value

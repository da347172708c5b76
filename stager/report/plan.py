"""A plan as screen and document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stager.hardware.scenario import Scenario
from stager.report import ladder, limits
from stager.report.answer import Answer
from stager.report.cautions import CAUTIONS
from stager.report.digits import MISSING, digits, plural, speed
from stager.report.document import Source, document
from stager.report.table import Column, Screen, Table

_SETTINGS = (
    Column("stage"),
    Column("wheel", "m/s"),
    Column("side B", "m/s"),
    Column("wheel", "rpm"),
    Column("throttle", "%"),
    Column("entry", "m/s"),
    Column("exit", "m/s"),
    Column("grip", words=True),
    Column("wheel loses", "%"),
    Column("slip heat", "J"),
)


def settings(stages: list[dict[str, Any]]) -> Table:
    """Speed of each wheel, and what it does."""
    rows = tuple(_setting(number, stage) for number, stage in enumerate(stages, 1))
    return Table("Settings", _SETTINGS, rows).without_empty(MISSING)


def _setting(number: int, stage: Mapping[str, Any]) -> tuple[str, ...]:
    side_b = stage["wheel_speed_b_m_s"]
    return (
        str(number),
        speed(stage["wheel_speed_m_s"]),
        MISSING if side_b in (None, stage["wheel_speed_m_s"]) else speed(side_b),
        f"{stage['rpm']:.0f}",
        _hundred(stage["throttle"]),
        speed(stage["entry_speed_m_s"]),
        speed(stage["exit_speed_m_s"]),
        stage["grip"],
        _hundred(stage["speed_loss_fraction"]),
        digits(stage["slip_heat_J"]),
    )


def _hundred(share: float | None) -> str:
    return MISSING if share is None else f"{100 * share:.1f}"

"""A front as table and document."""

from __future__ import annotations

from typing import Any

from stager.optimise.records import Front
from stager.report.digits import digits, speed
from stager.report.table import Column, Table


def summary(front: Front | None) -> dict[str, Any] | None:
    """As the document has it."""
    if front is None:
        return None
    points = [
        {"value": point.value, "exit_speed_m_s": point.exit_speed, "stages": point.stages} for point in front.points
    ]
    return {"against": front.against, "unit": front.unit, "points": points}


def table(front: dict[str, Any]) -> Table:
    """The fastest for each value, and what it leaves of the fastest of all."""
    fastest = max(point["exit_speed_m_s"] for point in front["points"])
    columns = (Column(front["against"], front["unit"]), Column("exit", "m/s"), Column("slower", "%"), Column("stages"))
    rows = tuple(
        (
            digits(point["value"]),
            speed(point["exit_speed_m_s"]),
            f"{100 * (1 - point['exit_speed_m_s'] / fastest):.1f}",
            str(point["stages"]),
        )
        for point in front["points"]
    )
    return Table(f"The fastest plan for a given {front['against']}", columns, rows)

"""Robust and steady settings as table, sentences and document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.optimise.records import Robust
from stager.report.digits import sides, speed
from stager.report.table import Column, Table


def summary(robust: Robust | None) -> dict[str, Any] | None:
    """As the document has it."""
    if robust is None:
        return None
    return {
        "wheel_speed_m_s": [float(each) for each in robust.settings.wheel_speed],
        "wheel_speed_b_m_s": None
        if robust.settings.wheel_speed_b is None
        else [float(each) for each in robust.settings.wheel_speed_b],
        "exit_speed_m_s": robust.settings.exit_speed,
        "cost_fraction": robust.cost,
        "quantile": robust.quantile,
        "low_exit_speed_m_s": robust.low,
        "low_exit_speed_nominal_settings_m_s": robust.low_before,
        "kept_fraction": robust.kept,
        "kept_fraction_at_least": robust.kept_at_least,
        "kept_fraction_nominal_settings": robust.kept_before,
    }


def table(robust: Mapping[str, Any], stages: Sequence[Mapping[str, Any]]) -> Table:
    """Wheel speeds beside those of the plan."""
    columns = (Column("stage"), Column("plan", "m/s"), Column("robust", "m/s"), Column("slower", "%"))
    speeds = robust["wheel_speed_m_s"]
    wheels = speeds, robust["wheel_speed_b_m_s"] or [None] * len(speeds)
    rows = tuple(
        (
            str(number),
            sides(stage["wheel_speed_m_s"], stage["wheel_speed_b_m_s"]),
            sides(wheel, other),
            f"{100 * (1 - wheel / stage['wheel_speed_m_s']):.1f}",
        )
        for number, (stage, wheel, other) in enumerate(zip(stages, *wheels, strict=True), 1)
    )
    return Table("Robust settings", columns, rows)


def sentences(content: Mapping[str, Any]) -> list[str]:
    """What robust settings give and cost, and how steady the plan is."""
    out = []
    if (robust := content["robust"]) is not None:
        percent = 100 * (1 - robust["quantile"])
        out.append(
            f"Robust settings: {percent:.0f} % of builds leave at {speed(robust['low_exit_speed_m_s'])} m/s or more "
            f"({speed(robust['low_exit_speed_nominal_settings_m_s'])} m/s with the plan's settings); limits on the "
            f"throw are kept by {100 * robust['kept_fraction']:.1f} % of them, surely by "
            f"{100 * robust['kept_fraction_at_least']:.1f} % "
            f"({100 * robust['kept_fraction_nominal_settings']:.1f} % with the plan's). "
            f"The nominal build gives up {100 * robust['cost_fraction']:.1f} % of its exit speed."
        )
    if (spread := content["spread_fraction"]) is not None:
        out.append(
            f"Exit speed varies by {100 * spread:.2f} % (standard deviation over what is uncertain); with the fewest "
            f"stages and the least heat it would by {100 * content['spread_least_heat_fraction']:.2f} %."
        )
    return out

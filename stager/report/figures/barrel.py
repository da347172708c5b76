"""Exit speed along the barrel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stager.model.launcher import Launcher
from stager.physics.layout import length, place, touch
from stager.physics.muzzle import outlet_speed
from stager.report.digits import speed
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.table import Column, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MM = 1000.0
Stages = Sequence[Mapping[str, Any]]


def picture(launcher: Launcher, stages: Stages) -> Picture | None:
    """Speed of the projectile against its place; stages: rows of a throw that gets through. None without stages."""
    if not stages or stages[-1]["exit_speed_m_s"] <= 0:
        return None
    points = course(launcher, stages)
    name = launcher.projectile.shape.name
    columns = (Column("place", "mm"), Column("speed", "m/s"), Column("where", words=True))
    rows = tuple((f"{x:.1f}", speed(v), where) for x, v, where in points)
    return Picture(
        name="barrel", title="Speed along the barrel",
        alt=f"The {name} gains speed stage by stage, from {speed(points[0][1])} to {speed(points[-1][1])} m/s over"
        f" {points[-1][0]:.0f} mm. " + " ".join(
            f"Stage {k} adds {speed(row['exit_speed_m_s'] - row['entry_speed_m_s'])} m/s."
            for k, row in enumerate(stages, 1)
        ),
        caption="Within a contact a straight line joins what was computed at its ends. Dashes: surface speed of the"
        f" wheels.{_rolling(launcher, len(stages))}",
        twin=Table("Speed along the barrel", columns, rows), paint=lambda: _paint(launcher, stages, points),
    )  # fmt: skip


def _rolling(launcher: Launcher, count: int) -> str:
    rails = any(not launcher.stage(k).layout.side_b_turns for k in range(count))
    if not rails or not launcher.projectile.shape.rolls:
        return ""
    return f" A {launcher.projectile.shape.name} that rolls on a rail goes half as fast as the wheel."


def course(launcher: Launcher, stages: Stages) -> list[tuple[float, float, str]]:
    """Places [mm], speeds [m/s] and what happens there; a rod's place is that of its front end."""
    rod = MM * float(launcher.projectile.length or 0.0)
    points = [(0.0, float(stages[0]["entry_speed_m_s"]), "fed")]
    spots = [MM * float(place(launcher, k)) for k in range(len(stages))]
    reach = [MM * float(touch(launcher, k)) for k in range(len(stages))]
    for k, row in enumerate(stages):
        begin = max(spots[k] - reach[k], points[-1][0])
        end = spots[k] + reach[k] + rod
        if k + 1 < len(stages):
            end = max(begin, min(end, spots[k + 1] - reach[k + 1]))
        points.append((begin, float(row["entry_speed_m_s"]), f"enters stage {k + 1}"))
        points.append((end, float(row["exit_speed_m_s"]), f"leaves stage {k + 1}"))
    whole = MM * float(length(launcher, len(stages)))
    leaves = float(outlet_speed(launcher, stages[-1]["exit_speed_m_s"]))
    points.append((max(whole, points[-1][0]), leaves, "leaves the launcher"))
    return points


def _paint(launcher: Launcher, stages: Stages, points: list[tuple[float, float, str]]) -> Figure:
    from stager.report.figures.backend import axes

    figure, plot = axes()
    plot.plot([x for x, _, _ in points], [v for _, v, _ in points], color=palette.CURVE, marker="o", markersize=3)
    for k, row in enumerate(stages):
        spot, radius = MM * float(place(launcher, k)), MM * float(launcher.stage(k).wheel.radius)
        u = float(row["wheel_speed_m_s"])
        plot.plot([spot - radius, spot + radius], [u, u], color=palette.MARK, linewidth=1.4, linestyle=(0, (4, 2)))
        plot.text(spot, u, f" {k + 1} ", ha="center", va="bottom", color=palette.MARK)
    plot.set(xlabel="place along the barrel (mm)", ylabel="speed (m/s)")
    plot.set_ylim(bottom=0)
    plot.margins(x=0.02)
    return figure

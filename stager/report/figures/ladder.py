"""What each further stage adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stager.report import ladder
from stager.report.digits import speed
from stager.report.figures import palette
from stager.report.figures.picture import Picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Rungs = Sequence[Mapping[str, Any]]


def picture(rungs: Rungs, recommended: int) -> Picture | None:
    """Exit speed against the number of stages, with intervals; rungs: rows of a ladder. None without a stage."""
    if len(rungs) < 2:
        return None
    said = ". ".join(f"{rung['stages']} stages: {_words(rung['exit_speed_m_s'])}" for rung in rungs)
    banded = any(rung["exit_speed_m_s"]["low"] is not None for rung in rungs)
    bars = " Bars hold 95 % of the launchers that the uncertainties allow, each tuned at the bench." if banded else ""
    return Picture(
        name="ladder", title="What each further stage adds", alt=f"{said}. Worth building: {recommended}.",
        caption=f"Per cent: gain on one stage less. Filled: worth building.{bars}",
        twin=ladder.table(rungs), paint=lambda: _paint(rungs, recommended),
    )  # fmt: skip


def _words(interval: Mapping[str, Any]) -> str:
    low, high = interval["low"], interval["high"]
    between = "" if low is None or high is None else f" ({speed(low)} to {speed(high)})"
    return f"{speed(interval['nominal'])} m/s{between}"


def _gain(share: float) -> str:
    return f"{round(100 * share) + 0.0:+.0f} %"


def _paint(rungs: Rungs, recommended: int) -> Figure:
    from stager.report.figures.backend import axes

    figure, plot = axes()
    plot.plot([r["stages"] for r in rungs], [r["exit_speed_m_s"]["nominal"] for r in rungs],
              color=palette.RULE, linewidth=1.2, zorder=1)  # fmt: skip
    for rung in rungs:
        count, known = rung["stages"], rung["exit_speed_m_s"]
        if known["low"] is not None and known["high"] is not None:
            plot.plot([count, count], [known["low"], known["high"]], color=palette.CURVE, linewidth=4, alpha=0.35,
                      solid_capstyle="butt")  # fmt: skip
        worth = count <= recommended
        plot.plot(count, known["nominal"], marker="o", markersize=7, color=palette.CURVE,
                  markerfacecolor=palette.CURVE if worth else palette.GROUND, markeredgewidth=1.6)  # fmt: skip
        gain = rung["gain_fraction"]
        if gain is not None and count > 1:
            # To the left and above: the line comes from below there, and nothing is cut at the right edge.
            plot.annotate(_gain(gain["nominal"]), (count, known["nominal"]), (-6, 7), ha="right",
                          textcoords="offset points", color=palette.INK if worth else palette.MUTED)  # fmt: skip
    plot.set(xlabel="stages", ylabel="exit speed (m/s)", xticks=[rung["stages"] for rung in rungs])
    plot.set_ylim(bottom=0)
    plot.margins(x=0.14)
    return figure

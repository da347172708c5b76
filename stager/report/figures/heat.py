"""Windings warming up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stager.model.arrays import Floats
from stager.physics.heat.windings import Windings
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.table import Column, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ZERO, MINUTE = 273.15, 60.0
POINTS, LONGEST = 31, 3600.0


def picture(windings: Windings, allowed: float | None, session: float | None) -> Picture:
    """Temperature of the windings while throwing; allowed [K]; session: its length [s] (None: half an hour)."""
    time = min(session or LONGEST / 2, LONGEST) * np.linspace(0.0, 1.0, POINTS) ** 2
    celsius = windings.temperature(time) - ZERO
    after_long = windings.temperature() - ZERO
    hottest = int(np.argmax(celsius[-1]))
    stages = [f"stage {k + 1}" for k in windings.stage]
    columns = (Column("time", "min"), *(Column(name, "°C") for name in stages))
    rows = tuple(
        (f"{t / MINUTE:.2f}", *(f"{value:.1f}" for value in row)) for t, row in zip(time, celsius, strict=True)
    )
    rows = (*rows, ("final", *(f"{value:.1f}" if np.isfinite(value) else "unlimited" for value in after_long)))
    limit = "" if allowed is None else f" Allowed: {allowed - ZERO:.0f} °C."
    said = (
        f"The windings of {stages[hottest]} get warmest: {celsius[-1, hottest]:.0f} °C after"
        f" {time[-1] / MINUTE:.0f} min, {_long(float(after_long[hottest]))} finally.{limit}"
    )
    return Picture(
        name="heat", title="Windings while throwing", alt=said, caption=f"{said} From a cold start, at a steady rate.",
        twin=Table("Winding temperatures", columns, rows),
        paint=lambda: _paint(time / MINUTE, celsius, stages, None if allowed is None else allowed - ZERO),
    )  # fmt: skip


def _long(value: float) -> str:
    return f"{value:.0f} °C" if np.isfinite(value) else "without end"


def _paint(minutes: Floats, celsius: Floats, stages: list[str], allowed: float | None) -> Figure:
    from stager.report.figures.backend import axes

    figure, plot = axes()
    hottest = int(np.argmax(celsius[-1]))
    for k, name in enumerate(stages):
        top = k == hottest
        plot.plot(minutes, celsius[:, k], color=palette.HEAT if top else palette.RULE, linewidth=2.0 if top else 1.2,
                  zorder=3 if top else 2)  # fmt: skip
        if top:
            plot.annotate(name, (minutes[-1], celsius[-1, k]), (-4, 5), textcoords="offset points", ha="right",
                          color=palette.HEAT)  # fmt: skip
    if allowed is not None:
        plot.axhline(allowed, color=palette.MARK, linewidth=1.3, linestyle=(0, (4, 2)))
        plot.annotate("allowed", (0.0, allowed), (4, 4), xycoords=("axes fraction", "data"),
                      textcoords="offset points", color=palette.MARK)  # fmt: skip
    plot.set(xlabel="time (min)", ylabel="winding (°C)")
    plot.margins(x=0.01)
    return figure

"""Throw after throw at the rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stager.physics.rate import Sequence
from stager.report.digits import digits, small_percent, speed
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.table import Column, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def picture(sequence: Sequence, settled: float, rate: float) -> Picture:
    """Exit speed of throw after throw; settled: the exit speed they come to [m/s]; rate [1/s]."""
    exits = sequence.exit_speed
    first = float(exits[0])
    lost = small_percent(1 - settled / first if first > 0 else 0.0)
    rows = tuple((str(n), speed(float(v)), _missing(row)) for n, (v, row) in
                 enumerate(zip(exits, sequence.missing, strict=True), 1))  # fmt: skip
    rows = (*rows, ("settled", speed(settled), ""))
    columns = (Column("throw"), Column("exit", "m/s"), Column("slowest wheel", "% below its set speed"))
    return Picture(
        name="rate", title=f"Throw after throw, {digits(rate)} a second",
        alt=f"The first throw leaves at {speed(first)} m/s, later ones settle at {speed(settled)} m/s,"
        f" {lost} less.",
        caption=f"The wheels do not quite come back between throws: settled throws leave {lost} slower.",
        twin=Table("Throw after throw", columns, rows), paint=lambda: _paint(exits.tolist(), settled),
    )  # fmt: skip


def _missing(row: object) -> str:
    return f"{100 * float(np.max(row)):.2f}"  # type: ignore[call-overload]


def _paint(exits: list[float], settled: float) -> Figure:
    from stager.report.figures.backend import axes

    figure, plot = axes()
    count = list(range(1, len(exits) + 1))
    plot.axhline(settled, color=palette.MARK, linewidth=1.3, linestyle=(0, (4, 2)))
    plot.plot(count, exits, color=palette.CURVE, marker="o", markersize=4.5)
    plot.annotate("settled", (1.0, settled), (-2, 4), xycoords=("axes fraction", "data"), textcoords="offset points",
                  ha="right", color=palette.MARK)  # fmt: skip
    low, high = min([*exits, settled]), max([*exits, settled])
    middle, half = (low + high) / 2, max(high - low, 0.02 * high, 0.01)
    plot.set(xlabel="throw", ylabel="exit speed (m/s)", xticks=count, ylim=(middle - half, middle + half))
    return figure

"""Pictures of a plan: ladder, margins of limits, winding temperatures, throw after throw at the feed's rate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stager.model.arrays import Floats
from stager.model.drive import ZERO_CELSIUS
from stager.physics.heat import Windings
from stager.physics.rate import Sequence as ThrowSequence
from stager.report import ladder, limits
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.limits import LimitRow
from stager.report.numbers import digits, listing, plural, small_percent, speed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Rungs = Sequence[Mapping[str, Any]]


def ladder_picture(rungs: Rungs, recommended: int) -> Picture | None:
    """Return the picture of exit speed against number of stages; rungs: rows of a ladder. None without a stage."""
    if len(rungs) < 2:
        return None
    steps = ". ".join(f"{plural(rung['stages'], 'stage')}: {_words(rung['exit_speed_m_s'])}" for rung in rungs)
    banded = any(rung["exit_speed_m_s"]["low"] is not None for rung in rungs)
    bars = " Bars: 95 % of possible builds, each tuned at the bench." if banded else ""
    return Picture(
        name="ladder", title="What each further stage adds", alt=f"{steps}. Worth building: {recommended}.",
        caption=f"Per cent: gain over one stage less. Filled: worth building.{bars}",
        twin=ladder.table(rungs), paint=lambda: _paint_ladder(rungs, recommended),
    )  # fmt: skip


def _words(interval: Mapping[str, Any]) -> str:
    low, high = interval["low"], interval["high"]
    between = "" if low is None or high is None else f" ({speed(low)} to {speed(high)})"
    return f"{speed(interval['nominal'])} m/s{between}"


def _gain(share: float) -> str:
    return f"{round(100 * share) + 0.0:+.0f} %"


def _paint_ladder(rungs: Rungs, recommended: int) -> Figure:
    from stager.report.figures.picture import axes

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


def limits_picture(rows: Sequence[LimitRow], words: Sequence[str]) -> Picture | None:
    """Return the picture of the margin of each limit; None without a judged limit.

    rows: limits as JSON has them; words: verdict on each in a word.
    """
    judged = [(row, word) for row, word in zip(rows, words, strict=True) if row["margin_fraction"] is not None]
    if not judged:
        return None
    tight = [limits.title(row["name"]) for row, word in judged if word != "kept"]
    summary = f"No margin left: {listing(tight)}." if tight else "Every limit has margin left."
    margins = ", ".join(f"{limits.title(row['name'])} {limits.room_text(row)}" for row, _ in judged)
    return Picture(
        name="limits", title="Margins of the limits", alt=f"{summary} Margins: {margins}.",
        caption=f"Margin as a share of what is allowed; a limit binds at 0 %. {summary}",
        twin=limits.table(rows, words), paint=lambda: _paint_limits(judged),
    )  # fmt: skip


def _paint_limits(judged: Sequence[tuple[LimitRow, str]]) -> Figure:
    from stager.report.figures.picture import axes, for_labels

    names = [limits.title(row["name"]) for row, _ in judged]
    figure, plot = axes(height=0.6 + 0.19 * len(judged), left=for_labels(names))
    lowest = 0.0
    for place, (row, word) in enumerate(judged):
        shown = min(max(100 * limits.room(row), -100.0), 100.0)
        lowest = min(lowest, shown - 2)
        plot.barh(place, shown, height=0.55, color=palette.GOOD if word == "kept" else palette.MARK)
        label = limits.room_text(row) if word == "kept" else f"{word}, {limits.room_text(row)}"
        ink = palette.INK if word == "kept" else palette.MARK
        plot.text(max(shown, 0.0) + 1.5, place, label, va="center", color=ink)
    plot.axvline(0, color=palette.INK, linewidth=1.0)
    plot.set(xlabel="margin (% of what is allowed)", yticks=range(len(judged)), xlim=(lowest, 132))
    plot.set_yticklabels(names)
    plot.set_xticks([0, 25, 50, 75, 100])
    plot.invert_yaxis()
    plot.grid(visible=False, axis="y")
    plot.tick_params(axis="y", length=0)
    return figure


MINUTE = 60.0
POINTS = 31
"""Points of a temperature curve."""
LONGEST = 3600.0
"""Longest time shown [s]."""


def heat_picture(windings: Windings, allowed: float | None, session: float | None) -> Picture:
    """Return the picture of winding temperatures while throwing.

    allowed: greatest temperature [K]; session: its length [s] (None: half an hour).
    """
    time = min(session or LONGEST / 2, LONGEST) * np.linspace(0.0, 1.0, POINTS) ** 2
    celsius = windings.temperature(time) - ZERO_CELSIUS
    after_long = windings.temperature() - ZERO_CELSIUS
    hottest = int(np.argmax(celsius[-1]))
    stages = [f"stage {k + 1}" for k in windings.stage]
    columns = (Column("time", "min"), *(Column(name, "°C") for name in stages))
    rows = tuple(
        (f"{t / MINUTE:.2f}", *(f"{value:.1f}" for value in row)) for t, row in zip(time, celsius, strict=True)
    )
    rows = (*rows, ("final", *(f"{value:.1f}" if np.isfinite(value) else "unlimited" for value in after_long)))
    limit = "" if allowed is None else f" Allowed: {allowed - ZERO_CELSIUS:.0f} °C."
    summary = (
        f"The windings of {stages[hottest]} get warmest: {celsius[-1, hottest]:.0f} °C after"
        f" {time[-1] / MINUTE:.0f} min, {_long(float(after_long[hottest]))} finally.{limit}"
    )
    return Picture(
        name="heat", title="Windings while throwing", alt=summary,
        caption=f"{summary} From a cold start, at a steady rate.",
        twin=Table("Winding temperatures", columns, rows),
        paint=lambda: _paint_heat(time / MINUTE, celsius, stages, None if allowed is None else allowed - ZERO_CELSIUS),
    )  # fmt: skip


def _long(value: float) -> str:
    return f"{value:.0f} °C" if np.isfinite(value) else "without end"


def _paint_heat(minutes: Floats, celsius: Floats, stages: list[str], allowed: float | None) -> Figure:
    from stager.report.figures.picture import axes

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


def rate_picture(sequence: ThrowSequence, settled: float, rate: float) -> Picture:
    """Return the picture of exit speed throw after throw; settled: that of steady throwing [m/s]; rate [1/s]."""
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
        caption=f"The wheels do not recover fully between throws: settled throws leave {lost} slower.",
        twin=Table("Throw after throw", columns, rows), paint=lambda: _paint_rate(exits.tolist(), settled),
    )  # fmt: skip


def _missing(row: object) -> str:
    return f"{100 * float(np.max(row)):.2f}"  # type: ignore[call-overload]


def _paint_rate(exits: list[float], settled: float) -> Figure:
    from stager.report.figures.picture import axes

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

"""Pictures of a plan: ladder, margins of limits, winding temperatures, throw after throw, effect of other wheels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import ZERO_CELSIUS
from stager.physics.flight import outlet_speed
from stager.physics.heat import Windings
from stager.physics.rate import Sequence as ThrowSequence
from stager.report import limits, plan
from stager.report.alternatives import VARIABLES, value_text
from stager.report.answer import Column, Table
from stager.report.drives import against_first
from stager.report.figures import palette
from stager.report.figures.picture import BOTTOM, RIGHT, TOP, WIDTH, Picture
from stager.report.limits import LimitRow
from stager.report.numbers import MISSING, digits, listing, plural, speed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Rungs = Sequence[Mapping[str, Any]]


def ladder_picture(rungs: Rungs, recommended: int) -> Picture | None:
    """Return the picture of exit speed against number of stages; rungs: rows of a ladder. None without a stage."""
    if len(rungs) < 2:
        return None
    steps = ". ".join(f"{plural(rung['stages'], 'stage')}: {_interval_words(rung['exit_speed_m_s'])}" for rung in rungs)
    banded = any(rung["exit_speed_m_s"]["low"] is not None for rung in rungs)
    bars = " Bars: 95 % of possible builds, each tuned at the bench." if banded else ""
    return Picture(
        name="ladder", title="What each further stage adds", alt=f"{steps}. Worth building: {recommended}.",
        caption=f"Per cent: gain over one stage less. Filled: worth building.{bars}",
        twin=plan.ladder_table(rungs), paint=lambda: _paint_ladder(rungs, recommended),
    )  # fmt: skip


def _interval_words(interval: Mapping[str, Any]) -> str:
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
        caption=f"Margin as a share of what is allowed, of a margin in points; a limit binds at 0. {summary}",
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


def rate_picture(launcher: Launcher, sequence: ThrowSequence, settled_exit: float, rate: float) -> Picture:
    """Return the picture of exit speed throw after throw, behind the outlet.

    settled_exit: that of steady throwing, behind the last wheel [m/s]; rate [1/s].
    """
    exits, settled = outlet_speed(launcher, sequence.exit_speed), float(outlet_speed(launcher, settled_exit))
    first = float(exits[0])
    against = against_first(1 - settled / first if first > 0 else 0.0)
    rows = tuple((str(n), speed(float(v)), _missing(row)) for n, (v, row) in
                 enumerate(zip(exits, sequence.missing, strict=True), 1))  # fmt: skip
    rows = (*rows, ("settled", speed(settled), ""))
    columns = (Column("throw"), Column("exit", "m/s"), Column("slowest wheel", "% below its set speed"))
    return Picture(
        name="rate", title=f"Throw after throw, {digits(rate)} a second",
        alt=f"The first throw leaves at {speed(first)} m/s, later ones settle at {speed(settled)} m/s,"
        f" {against}.",
        caption=f"The wheels recover as far as the time between throws lets them; settled throws: {against}.",
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


Row = Mapping[str, Any]
PANEL = 1.15
"""Height of a panel [inch]."""
MARGIN = 0.68
"""Margin left of the panels [inch]: labels stand beside the widest numbers of all."""
NAMES = {"radius": "Wheel radius", "inertia": "Wheel inertia"}
AXES = {"radius": ("radius (mm)", 1e3), "inertia": ("inertia of a wheel (g m²)", 1e3)}
CURVES = (
    ("exit_speed_m_s", "exit (m/s)", 1.0),
    ("droop_fraction", "slows (%)", 100.0),
    ("spin_up_s", "spin-up (s)", 1.0),
)
"""Key of a row, label and factor of each panel."""


def wheel_pictures(catalogue: Mapping[str, Any] | None) -> list[Picture]:
    """Return a picture for radius and for inertia where the plan chose them and others can be compared.

    catalogue : the choice of parts as JSON has it.
    """
    found = []
    for name in NAMES:
        key = VARIABLES[name]
        rows = [] if catalogue is None else [row for row in catalogue["traded"] if row[key] is not None]
        if sum(not row["broken"] for row in rows) > 1:
            found.append(_wheel_picture(name, key, rows))
    return found


def _wheel_picture(name: str, key: str, rows: Sequence[Row]) -> Picture:
    own, ordered = rows[0], sorted(rows, key=lambda row: float(row[key]))
    kept = [row for row in ordered if not row["broken"]]
    ends = " and ".join(_wheel_words(name, key, row) for row in (kept[0], kept[-1]))
    misfits = [
        f"{value_text(name, row[key])} ({listing([one.replace('_', ' ') for one in row['broken']])})"
        for row in ordered if row["broken"]
    ]  # fmt: skip
    broken = f" Beyond the limits: {listing(misfits)}." if misfits else ""
    return Picture(
        name=f"wheel-{name}", title=f"{NAMES[name]}: exit speed, droop, spin-up",
        alt=f"Planned: {_wheel_words(name, key, own)}. Ends of the curves: {ends}.{broken}",
        caption="Wheel speeds are optimised anew at each point; the filled one is the plan's. Slows: what a throw takes"
        f" of a wheel's speed.{broken}",
        twin=_wheel_table(name, key, ordered, own), paint=lambda: _paint_wheels(name, key, kept, own),
    )  # fmt: skip


def _wheel_words(name: str, key: str, row: Row) -> str:
    droop = f"wheels slow {100 * row['droop_fraction']:.1f} % per throw"
    spin_up = "" if row["spin_up_s"] is None else f", spin up in {digits(row['spin_up_s'], 2)} s"
    return f"{value_text(name, row[key])} throws {speed(row['exit_speed_m_s'])} m/s, {droop}{spin_up}"


def _wheel_table(name: str, key: str, rows: Sequence[Row], own: Row) -> Table:
    columns = (
        Column(name, "mm" if name == "radius" else "kg m²"), Column("exit", "m/s"), Column("slows", "%"),
        Column("spin-up", "s"), Column("length", "mm"), Column("verdict", words=True),
    )  # fmt: skip
    return Table(NAMES[name], columns, tuple(_wheel_cells(name, key, row, own) for row in rows)).without_empty(MISSING)


def _wheel_cells(name: str, key: str, row: Row, own: Row) -> tuple[str, ...]:
    value = value_text(name, row[key]).partition(" ")[0]
    if row["broken"]:
        said = listing([one.replace("_", " ") for one in row["broken"]])
        return (value, MISSING, MISSING, MISSING, MISSING, f"breaks {said}")
    return (
        value, speed(row["exit_speed_m_s"]), f"{100 * row['droop_fraction']:.1f}", digits(row["spin_up_s"]),
        f"{1000 * row['length_m']:.0f}", "planned" if row is own else "fits",
    )  # fmt: skip


def _paint_wheels(name: str, key: str, rows: Sequence[Row], own: Row) -> Figure:
    from matplotlib.figure import Figure

    shown = [curve for curve in CURVES if all(row[curve[0]] is not None for row in rows)]
    height, (label, scale) = PANEL * len(shown) + BOTTOM + TOP, AXES[name]
    figure = Figure(figsize=(WIDTH, height))
    panels = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    figure.subplots_adjust(left=MARGIN / WIDTH, right=1 - RIGHT / WIDTH, bottom=BOTTOM / height, top=1 - TOP / height,
                           hspace=0.12)  # fmt: skip
    places = [scale * float(row[key]) for row in rows]
    for plot, (curve, title, factor) in zip(panels, shown, strict=True):
        plot.plot(places, [factor * float(row[curve]) for row in rows], color=palette.CURVE, marker="o", markersize=4,
                  markerfacecolor=palette.GROUND)  # fmt: skip
        plot.plot([scale * float(own[key])], [factor * float(own[curve])], color=palette.MARK, marker="o",
                  markersize=6, linestyle="none", zorder=3)  # fmt: skip
        plot.set_ylabel(title)
        plot.margins(y=0.15)
        plot.locator_params(axis="y", nbins=4)
    for plot in panels:
        plot.yaxis.set_label_coords(-0.5 / (WIDTH - MARGIN - RIGHT), 0.5)
    panels[-1].set_xlabel(label)
    return figure

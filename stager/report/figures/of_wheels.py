"""Pictures of what other wheels would do: exit speed, droop and spin-up time over radius or inertia."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stager.report.alternatives import VARIABLES, value_text
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import BOTTOM, RIGHT, TOP, WIDTH, Picture
from stager.report.numbers import MISSING, digits, listing, speed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def pictures(catalogue: Mapping[str, Any] | None) -> list[Picture]:
    """Return a picture for radius and for inertia where the plan chose them and others can be compared.

    catalogue : the choice of parts as JSON has it.
    """
    found = []
    for name in NAMES:
        key = VARIABLES[name]
        rows = [] if catalogue is None else [row for row in catalogue["traded"] if row[key] is not None]
        if sum(not row["broken"] for row in rows) > 1:
            found.append(_picture(name, key, rows))
    return found


def _picture(name: str, key: str, rows: Sequence[Row]) -> Picture:
    own, ordered = rows[0], sorted(rows, key=lambda row: float(row[key]))
    kept = [row for row in ordered if not row["broken"]]
    ends = " and ".join(_words(name, key, row) for row in (kept[0], kept[-1]))
    misfits = [
        f"{value_text(name, row[key])} ({listing([one.replace('_', ' ') for one in row['broken']])})"
        for row in ordered if row["broken"]
    ]  # fmt: skip
    broken = f" Beyond the limits: {listing(misfits)}." if misfits else ""
    return Picture(
        name=f"wheel-{name}", title=f"{NAMES[name]}: exit speed, droop, spin-up",
        alt=f"Planned: {_words(name, key, own)}. Ends of the curves: {ends}.{broken}",
        caption="Wheel speeds are optimised anew at each point; the filled one is the plan's. Slows: what a throw takes"
        f" of a wheel's speed.{broken}",
        twin=_twin(name, key, ordered, own), paint=lambda: _paint(name, key, kept, own),
    )  # fmt: skip


def _words(name: str, key: str, row: Row) -> str:
    droop = f"wheels slow {100 * row['droop_fraction']:.1f} % per throw"
    spin_up = "" if row["spin_up_s"] is None else f", spin up in {digits(row['spin_up_s'], 2)} s"
    return f"{value_text(name, row[key])} throws {speed(row['exit_speed_m_s'])} m/s, {droop}{spin_up}"


def _twin(name: str, key: str, rows: Sequence[Row], own: Row) -> Table:
    columns = (
        Column(name, "mm" if name == "radius" else "kg m²"), Column("exit", "m/s"), Column("slows", "%"),
        Column("spin-up", "s"), Column("length", "mm"), Column("verdict", words=True),
    )  # fmt: skip
    return Table(NAMES[name], columns, tuple(_cells(name, key, row, own) for row in rows)).without_empty(MISSING)


def _cells(name: str, key: str, row: Row, own: Row) -> tuple[str, ...]:
    value = value_text(name, row[key]).partition(" ")[0]
    if row["broken"]:
        said = listing([one.replace("_", " ") for one in row["broken"]])
        return (value, MISSING, MISSING, MISSING, MISSING, f"breaks {said}")
    return (
        value, speed(row["exit_speed_m_s"]), f"{100 * row['droop_fraction']:.1f}", digits(row["spin_up_s"]),
        f"{1000 * row['length_m']:.0f}", "planned" if row is own else "fits",
    )  # fmt: skip


def _paint(name: str, key: str, rows: Sequence[Row], own: Row) -> Figure:
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

"""Where the energy of each stage's wheels goes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.motion import spin_energy, translation_energy
from stager.report.digits import digits, listing, percent
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.table import Column, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Stages = Sequence[Mapping[str, Any]]
KINDS = ("motion", "spin", "slip heat", "crushing")
COLOURS = (palette.MOTION, palette.SPIN, palette.HEAT, palette.CRUSH)
LEGIBLE = 0.12


def picture(launcher: Launcher, stages: Stages) -> Picture | None:
    """Work of the wheels of each stage by what it becomes; stages: rows of a throw. None without stages."""
    if not stages:
        return None
    parts = shares(launcher, stages)
    work = np.array([row["wheel_work_J"] for row in stages])
    whole = parts.sum(axis=0)
    kept = [k for k in range(len(KINDS)) if abs(whole[k]) > 1e-9 * abs(work).sum()]
    columns = (Column("stage"), Column("wheel work", "J"), *(Column(KINDS[k], "J") for k in kept), Column("to motion"))
    lines = [
        (str(n), digits(work[n - 1]), *(digits(parts[n - 1, k]) for k in kept), percent(parts[n - 1, 0] / work[n - 1]))
        for n in range(1, len(stages) + 1)
        if work[n - 1]
    ]
    total = ("all", digits(work.sum()), *(digits(whole[k]) for k in kept), percent(whole[0] / work.sum()))
    said = listing([f"{KINDS[k]} {digits(whole[k])} J" for k in kept])
    return Picture(
        name="energy", title="Where the energy goes",
        alt=f"The wheels give {digits(work.sum())} J to a throw. Of it becomes: {said}."
        f" The first stage alone turns {digits(parts[0, 2])} J into slip heat.",
        caption=f"Work of the wheels in one throw: {digits(work.sum())} J, of which {percent(whole[0] / work.sum(), 0)}"
        " becomes motion. Slip heat wears tyre and projectile.",
        twin=Table("Where the energy goes", columns, (*lines, total)), paint=lambda: _paint(parts, kept),
    )  # fmt: skip


def shares(launcher: Launcher, stages: Stages) -> Floats:
    """What the work of each stage becomes [J], (stages, kinds), kinds as in KINDS."""
    out, spin_before = np.zeros((len(stages), len(KINDS))), 0.0
    for k, row in enumerate(stages):
        speeds = row["exit_speed_m_s"], row["entry_speed_m_s"]
        after, before = (float(translation_energy(v, launcher.projectile)) for v in speeds)
        turning = float(spin_energy(row["spin_rad_s"], launcher.projectile))
        out[k] = after - before, turning - spin_before, row["slip_heat_J"], row["crush_loss_J"]
        spin_before = turning
    return out


def _paint(parts: Floats, kept: list[int]) -> Figure:
    from stager.report.figures.backend import axes

    count = len(parts)
    figure, plot = axes(height=max(1.5, 0.8 + 0.29 * count), left=0.44, top=0.3)
    left, span = np.zeros(count), np.abs(parts).sum(axis=1).max()
    places = list(range(1, count + 1))
    for k in kept:
        plot.barh(places, parts[:, k], left=left, height=0.62, color=COLOURS[k], label=KINDS[k],
                  edgecolor=palette.GROUND, linewidth=0.8)  # fmt: skip
        for place, start, value in zip(places, left, parts[:, k], strict=True):
            if value > LEGIBLE * span:
                plot.text(start + value / 2, place, digits(value, 2), ha="center", va="center", color=palette.GROUND)
        left = left + parts[:, k]
    plot.set(xlabel="energy of one throw (J)", ylabel="stage", yticks=places)
    plot.invert_yaxis()
    plot.grid(visible=False, axis="y")
    plot.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), borderaxespad=0.2, ncols=len(kept), handlelength=1.0,
                columnspacing=1.2)  # fmt: skip
    return figure

"""The flight from the muzzle to the ground, with the range within which nobody may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.flown import Flown
from stager.physics.flight import course, releases
from stager.report.digits import digits
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.table import Column, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAMES = ("without air", "with drag", "with drag and lift")
ROWS = 13


def picture(launcher: Launcher, flown: Flown | None, exit_speed: float, spin: float) -> Picture | None:
    """Height over distance of what leaves at `exit_speed` [m/s] with `spin` [rad/s]; None without [flight]."""
    flight, landing = launcher.flight, None if flown is None else flown.landing
    if flight is None or flown is None or landing is None:
        return None
    found = zip(NAMES, releases(flight, launcher.projectile, exit_speed, spin), strict=True)
    curves = [(name, course(one)) for name, one in found if one is not None]
    best = float(landing.best.distance)
    shots = None if flown.shots is None or flown.shots.landing is None else (
        flown.shots.landing.low, flown.shots.landing.high)  # fmt: skip
    said = "" if shots is None else f" 95 % of shots land {digits(shots[0])} to {digits(shots[1])} m away."
    return Picture(
        name="flight", title="Flight",
        alt=f"From {float(flight.height):g} m up it lands {digits(best)} m away {curves[-1][0]}."
        f" At the best tilt it could reach {digits(landing.danger)} m.{said}",
        caption=f"Nobody may be within {digits(landing.danger)} m, the dashed line: as far as it could fly at any tilt."
        f"{said}",
        twin=_twin(curves, landing.danger), paint=lambda: _paint(curves, landing.danger, shots),
    )  # fmt: skip


def _twin(curves: list[tuple[str, Floats]], danger: float) -> Table:
    """Heights at equal distances, and the danger range."""
    far = max(float(points[-1, 0]) for _, points in curves)
    columns = (Column("distance", "m"), *(Column(name, "m") for name, _ in curves), Column("", words=True))
    rows = []
    for at in np.linspace(0.0, far, ROWS):
        heights = [
            digits(float(np.interp(at, points[:, 0], points[:, 1]))) if at <= points[-1, 0] else ""
            for _, points in curves
        ]
        rows.append((digits(float(at)), *heights, ""))
    rows += [(digits(float(points[-1, 0])), *("" for _ in curves), f"lands {name}") for name, points in curves]
    rows.append((digits(danger), *("" for _ in curves), "danger range"))
    return Table("Height over distance", columns, tuple(rows))


def _paint(curves: list[tuple[str, Floats]], danger: float, shots: tuple[float, float] | None) -> Figure:
    from stager.report.figures.backend import axes

    figure, plot = axes(height=2.7, top=0.5)
    styles = ((palette.DULL, (0, (1, 1.5))), (palette.CURVE, (0, (5, 2))), (palette.CURVE, "solid"))
    places = dict(zip(NAMES, styles, strict=True))
    for name, points in curves:
        colour, line = places[name]
        plot.plot(points[:, 0], points[:, 1], color=colour, linestyle=line, label=name)
    if shots is not None:
        plot.axvspan(*shots, color=palette.BAND, alpha=0.6, linewidth=0, label="95 % of shots land here")
    plot.axvline(danger, color=palette.MARK, linewidth=1.3, linestyle=(0, (4, 2)))
    plot.annotate("danger range", (danger, 1.0), (-4, -4), xycoords=("data", "axes fraction"),
                  textcoords="offset points", ha="right", va="top", color=palette.MARK)  # fmt: skip
    plot.set(xlabel="distance (m)", ylabel="height (m)", xlim=(0, None), ylim=(0, None))
    plot.legend(loc="lower left", bbox_to_anchor=(-0.1, 1.0), borderaxespad=0.2, ncols=2, handlelength=2.2,
                columnspacing=1.2)  # fmt: skip
    return figure

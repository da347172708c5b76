"""Pictures of a throw: speed along the barrel, energy by stage, flight; exit speed against the speed of a wheel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stager.fit.prediction import Band, Span
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.draws import Flown
from stager.optimise.sweep import Sweep
from stager.physics.barrel import length, place, touch
from stager.physics.flight import outlet_speed, releases, trajectory
from stager.physics.mechanics import spin_energy, translation_energy
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.flight import danger_range, reach
from stager.report.numbers import MISSING, digits, listing, percent, speed, speed_to_set
from stager.report.throw import StageRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MM = 1000.0
"""Millimetres in a metre."""
Stages = Sequence[StageRow]


def speed_picture(launcher: Launcher, stages: Stages) -> Picture | None:
    """Return the picture of speed along the barrel; stages: rows of a throw. None without stages or after a jam."""
    if not stages or stages[-1]["exit_speed_m_s"] <= 0:
        return None
    points = speed_course(launcher, stages)
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
        twin=Table("Speed along the barrel", columns, rows), paint=lambda: _paint_speeds(launcher, stages, points),
    )  # fmt: skip


def _rolling(launcher: Launcher, count: int) -> str:
    rails = any(not launcher.stage(k).layout.side_b_turns for k in range(count))
    if not rails or not launcher.projectile.shape.rolls:
        return ""
    return f" A {launcher.projectile.shape.name} that rolls on a rail goes half as fast as the wheel."


def speed_course(launcher: Launcher, stages: Stages) -> list[tuple[float, float, str]]:
    """Return places [mm], speeds [m/s] and what happens there; the place of a rod is that of its front end."""
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


def _paint_speeds(launcher: Launcher, stages: Stages, points: list[tuple[float, float, str]]) -> Figure:
    from stager.report.figures.picture import axes

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


KINDS = ("motion", "spin", "slip heat", "crushing")
COLOURS = (palette.MOTION, palette.SPIN, palette.HEAT, palette.CRUSH)
LEGIBLE = 0.12
"""Share of the longest bar from which on a part is labelled [-]."""


def energy_picture(launcher: Launcher, stages: Stages) -> Picture | None:
    """Return the picture of the work of each stage by what it becomes; stages: rows of a throw. None without stages."""
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
    shares_text = listing([f"{KINDS[k]} {digits(whole[k])} J" for k in kept])
    return Picture(
        name="energy", title="Where the energy goes",
        alt=f"The wheels give {digits(work.sum())} J to a throw. Of this becomes: {shares_text}."
        f" The first stage alone turns {digits(parts[0, 2])} J into slip heat.",
        caption=f"Work of the wheels in one throw: {digits(work.sum())} J, of which {percent(whole[0] / work.sum(), 0)}"
        " becomes motion. Slip heat wears tyre and projectile.",
        twin=Table("Where the energy goes", columns, (*lines, total)), paint=lambda: _paint_energy(parts, kept),
    )  # fmt: skip


def shares(launcher: Launcher, stages: Stages) -> Floats:
    """Return the work of each stage by what it becomes [J], (stages, kinds), kinds as in KINDS."""
    out, spin_before = np.zeros((len(stages), len(KINDS))), 0.0
    for k, row in enumerate(stages):
        speeds = row["exit_speed_m_s"], row["entry_speed_m_s"]
        after, before = (float(translation_energy(v, launcher.projectile)) for v in speeds)
        turning = float(spin_energy(row["spin_rad_s"], launcher.projectile))
        out[k] = after - before, turning - spin_before, row["slip_heat_J"], row["crush_loss_J"]
        spin_before = turning
    return out


def _paint_energy(parts: Floats, kept: list[int]) -> Figure:
    from stager.report.figures.picture import axes

    count = len(parts)
    figure, plot = axes(height=max(1.5, 0.8 + 0.29 * count), left=0.44, top=0.3)
    left, span = np.zeros(count), np.abs(parts).sum(axis=1).max()
    places = list(range(1, count + 1))
    for k in kept:
        plot.barh(places, parts[:, k], left=left, height=0.62, color=COLOURS[k], label=KINDS[k],
                  edgecolor=palette.GROUND, linewidth=0.8)  # fmt: skip
        for height, start, value in zip(places, left, parts[:, k], strict=True):
            if value > LEGIBLE * span:
                plot.text(start + value / 2, height, digits(value, 2), ha="center", va="center", color=palette.GROUND)
        left = left + parts[:, k]
    plot.set(xlabel="energy of one throw (J)", ylabel="stage", yticks=places)
    plot.invert_yaxis()
    plot.grid(visible=False, axis="y")
    plot.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), borderaxespad=0.2, ncols=len(kept), handlelength=1.0,
                columnspacing=1.2)  # fmt: skip
    return figure


NAMES = ("without air", "with drag", "with drag and lift")
ROWS = 13
"""Distances in the table of a flight."""


def flight_picture(launcher: Launcher, flown: Flown | None, exit_speed: float, spin: float) -> Picture | None:
    """Return the picture of a flight at `exit_speed` [m/s] with `spin` [rad/s]; None without [flight]."""
    flight, landing = launcher.flight, None if flown is None else flown.landing
    if flight is None or flown is None or landing is None:
        return None
    found = zip(NAMES, releases(flight, launcher.projectile, exit_speed, spin), strict=True)
    curves = [(name, trajectory(one)) for name, one in found if one is not None]
    best, danger = float(landing.best.distance), danger_range(flown)
    shots = None if flown.shots is None or flown.shots.landing is None else (
        flown.shots.landing.low, flown.shots.landing.high)  # fmt: skip
    scatter = "" if shots is None else f" 95 % of shots land {digits(shots[0])} to {digits(shots[1])} m away."
    return Picture(
        name="flight", title="Flight",
        alt=f"From {float(flight.height):g} m up it lands {digits(best)} m away {curves[-1][0]}."
        f" {reach(flown)}.{scatter}",
        caption=f"Nobody may be within {digits(danger)} m, the dashed line: as far as it could fly at any tilt."
        f"{scatter}",
        twin=_heights_table(curves, danger), paint=lambda: _paint_flight(curves, danger, shots),
    )  # fmt: skip


def _heights_table(curves: list[tuple[str, Floats]], danger: float) -> Table:
    """Return the table of heights at equal distances, with landings and danger range."""
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


def _paint_flight(curves: list[tuple[str, Floats]], danger: float, shots: tuple[float, float] | None) -> Figure:
    from stager.report.figures.picture import axes

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


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepCurve:
    """A sweep and what is known about it.

    setting: planned wheel speed and exit speed [m/s]; grip_limit: its interval; band: 95 % band of the curve;
    measured: wheel and exit speeds [m/s], (throws, 2), of throws with earlier stages at about these speeds;
    contradicted: the throws contradict the model, so that it gives no grip limit.
    """

    sweep: Sweep
    setting: tuple[float, float] | None = None
    grip_limit: Span | None = None
    band: Band | None = None
    measured: Floats | None = None
    contradicted: bool = False

    @property
    def peak(self) -> tuple[float, float] | None:
        """Wheel and exit speed at the grip limit [m/s]; None where there is none to tell."""
        at, leaves = self.sweep.grip_speed, self.sweep.grip_exit
        return None if at is None or leaves is None or self.contradicted else (at, leaves)


def sweep_picture(curve: SweepCurve) -> Picture:
    """Return the picture of a curve with grip limit, band, setting and measured throws."""
    sweep = curve.sweep
    return Picture(
        name=f"sweep-{sweep.stage}", title=f"Stage {sweep.stage}: exit speed against wheel speed",
        alt=_sweep_alt(curve), caption=_sweep_caption(curve), twin=_sweep_table(curve),
        paint=lambda: _paint_sweep(curve),
    )  # fmt: skip


def line(sweep: Sweep) -> tuple[Floats, Floats]:
    """Return wheel and exit speeds [m/s], (points,), of a sweep with its grip limit inserted."""
    if sweep.grip_speed is None or sweep.grip_exit is None:
        return sweep.wheel_speed, sweep.exit_speed
    place = int(np.searchsorted(sweep.wheel_speed, sweep.grip_speed))
    return (
        np.insert(sweep.wheel_speed, place, sweep.grip_speed), np.insert(sweep.exit_speed, place, sweep.grip_exit)
    )  # fmt: skip


def _sweep_alt(curve: SweepCurve) -> str:
    sweep = curve.sweep
    text = f"The projectile enters stage {sweep.stage} at {speed(sweep.entry_speed)} m/s. "
    if not sweep.exit_speed.any():
        text += "It jams at every wheel speed."
    elif curve.contradicted:
        text += "The throws contradict the configuration, whose curve this is."
    elif curve.peak is None:
        text += f"Exit speed still rises where the range ends, at {speed(sweep.top)} m/s of wheel speed."
    else:
        text += (
            f"Exit speed rises with wheel speed up to the grip limit, {speed(curve.peak[1])} m/s at"
            f" {speed(curve.peak[0])} m/s of wheel speed; past it the wheels only slip."
        )
    if curve.setting is not None:
        text += f" The setting is {speed_to_set(curve.setting[0])} m/s, exit {speed(curve.setting[1])} m/s."
    return text


def _sweep_caption(curve: SweepCurve) -> str:
    limit = curve.grip_limit
    parts = []
    if curve.contradicted:
        parts.append("By the configuration, which the throws contradict.")
    elif curve.peak is not None:
        between = "" if limit is None else f", 95 %: {speed(limit.low)} to {speed(limit.high)}"
        parts.append(f"Grip limit {speed(curve.peak[0])} m/s{between}.")
    elif not curve.sweep.exit_speed.any():
        parts.append("It jams at every wheel speed.")
    else:
        parts.append(f"No grip limit up to {speed(curve.sweep.top)} m/s ({curve.sweep.ends_by.replace('_', ' ')}).")
    if curve.setting is not None:
        parts.append(f"Setting {speed_to_set(curve.setting[0])} m/s.")
    if curve.band is not None:
        parts.append("Shaded: 95 % of builds.")
    if curve.measured is not None and curve.measured.size:
        parts.append("Crosses: measured throws.")
    return " ".join(parts)


def _sweep_table(curve: SweepCurve) -> Table:
    sweep, band, measured = curve.sweep, curve.band, curve.measured
    covered = {} if band is None else {float(u): k for k, u in enumerate(band.wheel_speed)}
    rows = []
    for u, v in zip(sweep.wheel_speed.tolist(), sweep.exit_speed, strict=True):
        k, builds = covered.get(u), MISSING
        if band is not None and k is not None:
            builds = f"{band.low[k]:.2f} to {band.high[k]:.2f}"
        rows.append((u, speed(float(v)) if v > 0 else "jam", builds, ""))
    if curve.peak is not None:
        rows.append((curve.peak[0], speed(curve.peak[1]), MISSING, "grip limit"))
    if curve.setting is not None:
        rows.append((curve.setting[0], speed(curve.setting[1]), MISSING, "setting"))
    for u, v in () if measured is None else measured:
        rows.append((float(u), speed(float(v)), MISSING, "measured"))
    columns = (
        Column("wheel", "m/s"), Column("exit", "m/s"), Column("95 % of builds", "m/s"), Column("", words=True),
    )  # fmt: skip
    rows.sort(key=lambda row: row[0])
    lines = tuple((speed_to_set(u) if rest[-1] == "setting" else speed(u), *rest) for u, *rest in rows)
    return Table(f"Stage {sweep.stage}", columns, lines).without_empty(MISSING)


def _paint_sweep(curve: SweepCurve) -> Figure:
    from stager.report.figures.picture import axes

    sweep = curve.sweep
    figure, plot = axes()
    if curve.band is not None:
        plot.fill_between(curve.band.wheel_speed, curve.band.low, curve.band.high, color=palette.BAND, linewidth=0)
    top = float(np.max(sweep.exit_speed, initial=0.0))
    plot.plot([0, sweep.wheel_speed[-1]], [0, sweep.wheel_speed[-1]], color=palette.RULE, linewidth=1.0,
              linestyle=(0, (2, 2)))  # fmt: skip
    plot.plot(*line(sweep), color=palette.CURVE)
    if curve.peak is not None:
        _mark_grip(plot, curve, *curve.peak)
    if curve.setting is not None:
        plot.plot(*curve.setting, marker="o", markersize=7, color=palette.INK, linestyle="none", zorder=5)
        plot.annotate("setting", curve.setting, (-8, 5), textcoords="offset points", ha="right", zorder=5)
    if curve.measured is not None and curve.measured.size:
        plot.plot(curve.measured[:, 0], curve.measured[:, 1], marker="x", markersize=5, markeredgewidth=1.4,
                  color=palette.MARK, linestyle="none", zorder=4)  # fmt: skip
    high = max(top, 0.0 if curve.band is None else float(np.max(curve.band.high)))
    end = float(sweep.wheel_speed[-1])
    if curve.measured is not None and curve.measured.size:
        # All measured throws are shown, however far from the curve.
        end, high = (max(most, 1.02 * float(curve.measured[:, k].max())) for k, most in enumerate((end, high)))
    plot.set(xlabel="wheel speed (m/s)", ylabel="exit speed (m/s)", xlim=(0, end))
    plot.set_ylim(0, 1.14 * high if high > 0 else 1.0)
    return figure


def _mark_grip(plot: Axes, curve: SweepCurve, at: float, exit_speed: float) -> None:
    limit = curve.grip_limit
    if limit is not None:
        plot.axvspan(limit.low, limit.high, ymax=0.035, color=palette.MARK, alpha=0.45, linewidth=0)
    plot.axvline(at, color=palette.MARK, linewidth=1.3, linestyle=(0, (4, 2)))
    plot.annotate("grip limit", (at, 1.0), (5, -1), xycoords=("data", "axes fraction"), textcoords="offset points",
                  va="top", color=palette.MARK)  # fmt: skip

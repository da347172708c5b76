"""Picture of a sweep: exit speed of a stage against its wheel speed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stager.fit.grip_ensemble import Span
from stager.fit.prediction import Band
from stager.model.arrays import Floats
from stager.optimise.sweep import Sweep
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.numbers import MISSING, speed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

@dataclass(frozen=True, slots=True, kw_only=True)
class SweepCurve:
    """A sweep and what is known about it.

    setting: planned wheel speed and exit speed [m/s]; grip_limit: its interval; band: 95 % band of the curve;
    measured: wheel and exit speeds [m/s], (throws, 2), of throws with earlier stages at about these speeds.
    """

    sweep: Sweep
    setting: tuple[float, float] | None = None
    grip_limit: Span | None = None
    band: Band | None = None
    measured: Floats | None = None


def sweep_picture(curve: SweepCurve, *, planned: bool = True) -> Picture:
    """Return the picture of a curve with grip limit, band, setting (if `planned`) and measured throws."""
    curve = curve if planned else replace(curve, setting=None)
    sweep = curve.sweep
    return Picture(
        name=f"sweep-{sweep.stage}", title=f"Stage {sweep.stage}: exit speed against wheel speed",
        alt=_alt(curve), caption=_caption(curve), twin=_twin(curve), paint=lambda: _paint(curve),
    )  # fmt: skip


def line(sweep: Sweep) -> tuple[Floats, Floats]:
    """Return wheel and exit speeds [m/s], (points,), of a sweep with its grip limit inserted."""
    if sweep.grip_speed is None or sweep.grip_exit is None:
        return sweep.wheel_speed, sweep.exit_speed
    place = int(np.searchsorted(sweep.wheel_speed, sweep.grip_speed))
    return (
        np.insert(sweep.wheel_speed, place, sweep.grip_speed), np.insert(sweep.exit_speed, place, sweep.grip_exit)
    )  # fmt: skip


def _alt(curve: SweepCurve) -> str:
    sweep = curve.sweep
    text = f"The projectile enters stage {sweep.stage} at {speed(sweep.entry_speed)} m/s. "
    if sweep.grip_speed is None or sweep.grip_exit is None:
        text += f"Exit speed still rises where the range ends, at {speed(sweep.top)} m/s of wheel speed."
    else:
        text += (
            f"Exit speed rises with wheel speed up to the grip limit, {speed(sweep.grip_exit)} m/s at"
            f" {speed(sweep.grip_speed)} m/s of wheel speed; past it the wheels only slip."
        )
    if curve.setting is not None:
        text += f" The setting is {speed(curve.setting[0])} m/s, exit {speed(curve.setting[1])} m/s."
    return text


def _caption(curve: SweepCurve) -> str:
    limit = curve.grip_limit
    parts = []
    if curve.sweep.grip_speed is not None:
        between = "" if limit is None else f", 95 %: {speed(limit.low)} to {speed(limit.high)}"
        parts.append(f"Grip limit {speed(curve.sweep.grip_speed)} m/s{between}.")
    else:
        parts.append(f"No grip limit up to {speed(curve.sweep.top)} m/s ({curve.sweep.ends_by.replace('_', ' ')}).")
    if curve.setting is not None:
        parts.append(f"Setting {speed(curve.setting[0])} m/s.")
    if curve.band is not None:
        parts.append("Shaded: 95 % of builds.")
    if curve.measured is not None and curve.measured.size:
        parts.append("Crosses: measured throws.")
    return " ".join(parts)


def _twin(curve: SweepCurve) -> Table:
    sweep, band, measured = curve.sweep, curve.band, curve.measured
    covered = {} if band is None else {float(u): k for k, u in enumerate(band.wheel_speed)}
    rows = []
    for u, v in zip(sweep.wheel_speed.tolist(), sweep.exit_speed, strict=True):
        k, builds = covered.get(u), MISSING
        if band is not None and k is not None:
            builds = f"{band.low[k]:.2f} to {band.high[k]:.2f}"
        rows.append((u, speed(float(v)) if v > 0 else "jam", builds, ""))
    if sweep.grip_speed is not None and sweep.grip_exit is not None:
        rows.append((sweep.grip_speed, speed(sweep.grip_exit), MISSING, "grip limit"))
    if curve.setting is not None:
        rows.append((curve.setting[0], speed(curve.setting[1]), MISSING, "setting"))
    for u, v in () if measured is None else measured:
        rows.append((float(u), speed(float(v)), MISSING, "measured"))
    columns = (
        Column("wheel", "m/s"), Column("exit", "m/s"), Column("95 % of builds", "m/s"), Column("", words=True),
    )  # fmt: skip
    rows.sort(key=lambda row: row[0])
    lines = tuple((speed(u), *rest) for u, *rest in rows)
    return Table(f"Stage {sweep.stage}", columns, lines).without_empty(MISSING)


def _paint(curve: SweepCurve) -> Figure:
    from stager.report.figures.picture import axes

    sweep = curve.sweep
    figure, plot = axes()
    if curve.band is not None:
        plot.fill_between(curve.band.wheel_speed, curve.band.low, curve.band.high, color=palette.BAND, linewidth=0)
    top = float(np.max(sweep.exit_speed, initial=0.0))
    plot.plot([0, sweep.wheel_speed[-1]], [0, sweep.wheel_speed[-1]], color=palette.RULE, linewidth=1.0,
              linestyle=(0, (2, 2)))  # fmt: skip
    plot.plot(*line(sweep), color=palette.CURVE)
    if sweep.grip_speed is not None and sweep.grip_exit is not None:
        _grip(plot, curve, sweep.grip_speed, sweep.grip_exit)
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


def _grip(plot: Axes, curve: SweepCurve, at: float, exit_speed: float) -> None:
    limit = curve.grip_limit
    if limit is not None:
        plot.axvspan(limit.low, limit.high, ymax=0.035, color=palette.MARK, alpha=0.45, linewidth=0)
    plot.axvline(at, color=palette.MARK, linewidth=1.3, linestyle=(0, (4, 2)))
    plot.annotate("grip limit", (at, 1.0), (5, -1), xycoords=("data", "axes fraction"), textcoords="offset points",
                  va="top", color=palette.MARK)  # fmt: skip

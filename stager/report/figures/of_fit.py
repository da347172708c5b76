"""Pictures of a fit: agreement with the throws, residuals, what was learned of each parameter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stager.fit.posterior import Fit, Parameter
from stager.model.arrays import Floats
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.fit import Units, name_of
from stager.report.fit import parameters as parameters_of
from stager.report.numbers import listing, percent, plural, speed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Flags = NDArray[np.bool_]
WILD = 0.5
"""Probability from which on a throw is drawn as an outlier [-]."""
COVERAGE = 1.96
"""Half width of a 95 % interval in standard uncertainties [-]."""


def agreement(fit: Fit) -> Picture:
    """Return the picture of measured against fitted exit speeds."""
    measured, fitted, wild = _speeds(fit)
    count = int(wild.sum())
    rows = tuple(
        (f"{order:g}", speed(float(v)), speed(float(w)), "outlier" if bad else "")
        for order, v, w, bad in zip(fit.throws.order[fit.used], measured, fitted, wild, strict=True)
    )
    columns = (Column("throw"), Column("measured", "m/s"), Column("fitted", "m/s"), Column("", words=True))
    summary = f"{plural(measured.size, 'throw')} fitted, scatter {percent(fit.scatter)}." + (
        f" {plural(count, 'probable outlier')}." if count else ""
    )
    return Picture(
        name="agreement", title="Measured and fitted", alt=f"Measured against fitted exit speed: {summary}",
        caption=f"{summary} On the line they agree; crosses are probable outliers, given little weight.",
        twin=Table("Measured and fitted", columns, rows), paint=lambda: _paint_agreement(measured, fitted, wild),
    )  # fmt: skip


def residuals(fit: Fit) -> Picture:
    """Return the picture of residuals in the order of the throws."""
    left = 100 * fit.found.residuals
    order = fit.throws.order[fit.used]
    wild = np.asarray(fit.found.outlier_probability > WILD)
    rows = tuple((f"{n:g}", f"{value:+.2f}") for n, value in zip(order, left, strict=True))
    columns = (Column("throw"), Column("measured above fitted", "%"))
    return Picture(
        name="residuals", title="Residuals of the fit",
        alt=f"Residuals in the order of the throws, between {left.min():+.1f} and {left.max():+.1f} per cent;"
        f" two thirds lie within {percent(fit.scatter)}.",
        caption="In the order of the throws; a slope means drift. Shaded: twice the scatter of one throw.",
        twin=Table("Residuals of the fit", columns, rows),
        paint=lambda: _paint_residuals(order, left, wild, 100 * fit.scatter),
    )  # fmt: skip


def learned(fit: Fit, units: Units) -> Picture | None:
    """Return the picture of each parameter's 95 % interval before and after; None without uncertain parameters."""
    parameters = [one for one in fit.parameters if one.prior_uncertainty > 0]
    if not parameters:
        return None
    unknown = [name_of(one) for one in parameters if not one.identified]
    missing = f" Not identified: {listing(unknown)}." if unknown else " All are identified."
    shares = ", ".join(f"{name_of(one)} {percent(one.told, 0)}" for one in parameters)
    return Picture(
        name="told", title="What the throws tell", alt=f"Share of uncertainty removed: {shares}.{missing}",
        caption=f"Grey: 95 % before; blue: 95 % after; in standard uncertainties of before.{missing}",
        twin=parameters_of(fit, units), paint=lambda: _paint_told(parameters),
    )  # fmt: skip


def _speeds(fit: Fit) -> tuple[Floats, Floats, Flags]:
    measured = fit.throws.exit_speed[fit.used]
    return measured, measured * np.exp(-fit.found.residuals), np.asarray(fit.found.outlier_probability > WILD)


def _paint_agreement(measured: Floats, fitted: Floats, wild: Flags) -> Figure:
    from stager.report.figures.picture import axes

    figure, plot = axes()
    ends = min(measured.min(), fitted.min()), max(measured.max(), fitted.max())
    plot.plot(ends, ends, color=palette.RULE, linewidth=1.2)
    _mark(plot, fitted, measured, wild)
    plot.set(xlabel="fitted exit speed (m/s)", ylabel="measured exit speed (m/s)")
    return figure


def _mark(plot: Axes, x: Floats, y: Floats, wild: Flags) -> None:
    """Draw a point for each throw, a cross for a probable outlier."""
    plot.plot(x[~wild], y[~wild], marker="o", markersize=4.5, linestyle="none", color=palette.CURVE)
    plot.plot(x[wild], y[wild], marker="x", markersize=6, linestyle="none", color=palette.MARK)


def _paint_residuals(order: Floats, left: Floats, wild: Flags, scatter: float) -> Figure:
    from stager.report.figures.picture import axes

    figure, plot = axes()
    plot.axhspan(-2 * scatter, 2 * scatter, color=palette.BAND, linewidth=0)
    plot.axhline(0, color=palette.MUTED, linewidth=1.0)
    _mark(plot, order, left, wild)
    plot.set(xlabel="throw", ylabel="measured above fitted (%)")
    return figure


def _paint_told(parameters: list[Parameter]) -> Figure:
    from stager.report.figures.picture import axes, for_labels

    names = [name_of(one) for one in parameters]
    figure, plot = axes(height=0.7 + 0.24 * len(parameters), left=for_labels(names))
    for place, one in enumerate(parameters):
        low, high = ((end - one.prior_value) / one.prior_uncertainty for end in one.interval)
        middle = (one.value - one.prior_value) / one.prior_uncertainty
        plot.plot([-COVERAGE, COVERAGE], [place, place], color=palette.RULE, linewidth=8, solid_capstyle="butt")
        plot.plot([low, high], [place, place], color=palette.CURVE, linewidth=3.5, solid_capstyle="butt")
        plot.plot(middle, place, marker="o", markersize=5, color=palette.CURVE)
    plot.set(xlabel="change from before (standard uncertainties)", yticks=range(len(parameters)))
    plot.set_yticklabels(names)
    plot.invert_yaxis()
    plot.grid(visible=False, axis="y")
    return figure

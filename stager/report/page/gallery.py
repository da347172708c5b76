"""The figures of a report by section."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from stager.physics.muzzle import outlet_speed
from stager.report import plan as plans
from stager.report.figures import Picture, of_fit, of_launcher, of_plan, of_sweep, of_throw, of_wheels
from stager.report.fit import units_of
from stager.report.page.data import ReportData
from stager.report.throw import StageRow

Found = Picture | None | Sequence[Picture | None]


def figures(data: ReportData) -> list[Picture]:
    """Return all figures in the page's order."""
    return [picture for section in by_section(data).values() for picture in section]


def by_section(data: ReportData) -> Mapping[str, list[Picture]]:
    """Return figures by section, without those of a plan that measured throws contradict."""
    found: dict[str, list[Picture]] = {}
    for section, make in FIGURES:
        shown = found.setdefault(section, [])
        if data.contradictions and section not in EVIDENCE:
            continue
        shown += _made(make(data))
    return found


def plan_pictures(data: ReportData) -> Iterator[Picture]:
    """Yield the figures of a plan alone, the most telling one first."""
    for make in (_ladder, _launcher, _barrel, _limits, _energy, _wheels):
        yield from _made(make(data))


def _made(found: Found) -> list[Picture]:
    return [one for one in ([found] if isinstance(found, Picture) or found is None else found) if one is not None]


def _rows(data: ReportData) -> Sequence[StageRow]:
    rows: Sequence[StageRow] = data.content["stages"]
    return rows


def _launcher(data: ReportData) -> Found:
    return None if data.settings is None else of_launcher.picture(data.launcher, data.settings.count, _rows(data))


def _ladder(data: ReportData) -> Found:
    return of_plan.ladder_picture(data.content["ladder"], data.plan.recommended_stages)


def _barrel(data: ReportData) -> Found:
    return of_throw.speed_picture(data.launcher, _rows(data))


def _sweeps(data: ReportData) -> Found:
    return [of_sweep.sweep_picture(curve, planned=not data.contradictions) for curve in data.curves]


def _limits(data: ReportData) -> Found:
    rows = data.content["limits"]
    return of_plan.limits_picture(rows, [plans.word(row) for row in rows])


def _energy(data: ReportData) -> Found:
    return of_throw.energy_picture(data.launcher, _rows(data))


def _wheels(data: ReportData) -> Found:
    return of_wheels.pictures(data.content["catalogue"])


def _rate(data: ReportData) -> Found:
    settled = None if data.settings is None else data.settings.design.settled
    if settled is None or data.sequence is None:
        return None
    return of_plan.rate_picture(data.sequence, float(settled.throw.exit_speed), float(settled.rate))


def _heat(data: ReportData) -> Found:
    warm = None if data.settings is None else data.settings.design.windings
    if warm is None:
        return None
    session = data.launcher.feed.session
    allowed = data.scenario.limit_values.winding_temperature
    return of_plan.heat_picture(warm, allowed, None if session is None else float(session))


def _flight(data: ReportData) -> Found:
    best = data.plan.best
    if best is None:
        return None
    leaves = float(outlet_speed(data.launcher, best.exit_speed))
    return of_throw.flight_picture(data.launcher, data.plan.flown, leaves, float(best.throw.spin))


def _learned(data: ReportData) -> Found:
    if data.learned is None:
        return ()
    fit = data.learned.fit
    units = units_of(fit.parameters, data.configuration.quantities)
    return of_fit.agreement(fit), of_fit.residuals(fit), of_fit.learned(fit, units)


FIGURES: tuple[tuple[str, Callable[[ReportData], Found]], ...] = (
    ("sheet", _launcher), ("worth", _ladder), ("worth", _barrel), ("speeds", _sweeps), ("limits", _limits),
    ("limits", _energy), ("limits", _wheels), ("rate", _rate), ("rate", _heat), ("flight", _flight),
    ("measured", _learned),
)  # fmt: skip
"""Section and function of every figure, in the page's order."""
EVIDENCE = frozenset(("speeds", "measured"))
"""Sections with measured throws, which stay where these contradict the plan."""

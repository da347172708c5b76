"""Render the page: its figures by section, its templates, and the configuration's inputs as tables."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stager.config import Configuration
from stager.errors import printable
from stager.physics.flight import outlet_speed
from stager.report import plan as plans
from stager.report.answer import Column, Table
from stager.report.card import rpm_of
from stager.report.figures import Picture, of_fit, of_launcher, of_plan, of_throw
from stager.report.fit import units_of
from stager.report.page import content, whatif
from stager.report.page.content import ReportData
from stager.report.throw import StageRow
from stager.units import Measured

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
    best = data.settings
    if best is None:
        return None
    rpm = [rpm_of(best, k, 0) for k in range(best.count)]
    return of_launcher.picture(data.launcher, best.count, rpm, best.exit_speed)


def _ladder(data: ReportData) -> Found:
    return of_plan.ladder_picture(data.content["ladder"], data.plan.recommended_stages)


def _barrel(data: ReportData) -> Found:
    return of_throw.speed_picture(data.launcher, _rows(data))


def _sweeps(data: ReportData) -> Found:
    if not data.contradictions:
        return [of_throw.sweep_picture(curve) for curve in data.curves]
    measured = [curve for curve in data.curves if curve.measured is not None and curve.measured.size]
    return [of_throw.sweep_picture(replace(curve, setting=None, contradicted=True)) for curve in measured]


def _limits(data: ReportData) -> Found:
    rows = data.content["limits"]
    return of_plan.limits_picture(rows, [plans.word(row) for row in rows])


def _energy(data: ReportData) -> Found:
    return of_throw.energy_picture(data.launcher, _rows(data))


def _wheels(data: ReportData) -> Found:
    return of_plan.wheel_pictures(data.content["catalogue"])


def _rate(data: ReportData) -> Found:
    settled = None if data.settings is None else data.settings.design.settled
    if settled is None or data.sequence is None:
        return None
    return of_plan.rate_picture(data.launcher, data.sequence, float(settled.throw.exit_speed), float(settled.rate))


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


def page(data: ReportData) -> str:
    """Return one HTML file that needs no other file and no network, with a script only for its sliders."""
    response = None if data.response is None or data.contradictions else whatif.tables(data.response, data)
    script = Markup(_text("whatif.js")) if response is not None else None
    found = environment().get_template("page.html").render(
        data=data, view=content.view(data), figures=by_section(data), inputs=inputs(data.configuration),
        response=response,
        style=Markup(_text("page.css")), script=script, policy=_policy(script),
    )  # fmt: skip
    return f"{found}\n"


@cache
def environment() -> Environment:
    """Return the templates of this package, with autoescape."""
    return Environment(
        loader=PackageLoader("stager.report.page"), autoescape=True, undefined=StrictUndefined, finalize=_showable,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def _showable(value: object) -> object:
    """Return text with control and direction characters escaped, "" for None."""
    if value is None:
        return ""
    return "\n".join(map(printable, value.split("\n"))) if type(value) is str else value


def _text(name: str) -> str:
    return (files("stager.report.page") / "templates" / name).read_text(encoding="utf-8")


def _policy(script: str | None) -> str:
    """Return the content security policy: own styles, own script by its hash, nothing from elsewhere."""
    own = "" if script is None else f" script-src 'sha256-{_hash(script)}';"
    return f"default-src 'none';{own} style-src 'unsafe-inline'; img-src data:"


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


COLUMNS = (
    Column("key", words=True), Column("as written", words=True), Column("read as"), Column("± standard uncertainty"),
    Column("unit", words=True),
)  # fmt: skip


def inputs(configuration: Configuration) -> list[Table]:
    """Return a table of values as written and as read for each part of the file; defaults are marked."""
    known = {**configuration.quantities, **_requirements(configuration)}
    written = dict(_leaves(configuration.tree, ""))
    keys = [*written, *(key for key in known if key not in written and not _inside(key, written))]
    parts = dict.fromkeys(key.partition(".")[0] for key in keys if "." in key)
    found = []
    for part in parts:
        inside = [key for key in keys if key.partition(".")[0] == part and "." in key]
        rows = tuple(_input_row(key, part, written.get(key), known.get(key)) for key in inside)
        found.append(Table(f"[{part}]", COLUMNS, rows))
    return found


def _requirements(configuration: Configuration) -> dict[str, Measured]:
    """Return the values of limits and goal by key; they are not among the quantities of the launcher."""
    parts = {"limits": configuration.file.limits, "goal": configuration.file.goal}
    found = ((f"{part}.{name}", value) for part, table in parts.items() for name, value in table)
    return {key: value for key, value in found if isinstance(value, Measured)}


def _input_row(key: str, part: str, written: Any, known: Measured | None) -> tuple[str, ...]:
    name = key.removeprefix(f"{part}.")
    text = "(default)" if written is None else _input_text(written)
    if known is None:
        return (name, text, "", "", "")
    spread = f"{known.standard_uncertainty:.6g}" if known.standard_uncertainty else ""
    return (name, text, f"{known.value:.10g}", spread + (" (between limits)" if known.rectangular else ""), known.unit)


def _inside(key: str, written: Mapping[str, Any]) -> bool:
    """Whether a quantity is part of a key that is written as one, as a set speed for both sides is."""
    return any(key.startswith((f"{whole}.", f"{whole}_b")) for whole in written)


def _leaves(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list) and value:
        for number, inner in enumerate(value, 1):
            yield from _leaves(inner, f"{key}.{number}")
    else:
        yield key, value


def _input_text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)

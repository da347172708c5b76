"""Lay out the page's sliders, and pack the tables that `optimise/response.py` computed for the page's script."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, log10
from typing import Any

import numpy as np

from stager.config import show_value
from stager.constraints import not_judged
from stager.model.arrays import Floats
from stager.model.stage import Stage
from stager.optimise.parts import option_keys
from stager.optimise.records import Parts
from stager.optimise.response import PIECES, Curve, Judged, Response, StageResponse, Steady, Surface
from stager.physics.parts import with_variables
from stager.report.card import rpm_of
from stager.report.limits import title, unit_of
from stager.report.numbers import listing, percent, plural
from stager.report.page.content import ReportData
from stager.report.throw import indicated_rpm
from stager.units import ScreenUnit, format_quantity

MOST = 65534
"""Integer that stands for the greatest value of a table; the next one stands for no value."""
CLOSE = 2e-3
"""Relative error of tables that do not depend on the rate [-]."""
STEPS = 150
"""Least number of steps over a slider's range."""


@dataclass(frozen=True, slots=True)
class Slider:
    """A slider; its positions are whole steps from the plan, from `low` to `high`."""

    key: str
    label: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class SliderValue:
    """A value that follows the sliders; allowed: the limit in words, empty where none is set."""

    label: str
    unit: str
    allowed: str


@dataclass(frozen=True, slots=True)
class ResponseTables:
    """Sliders, values, notes and the data for the script."""

    sliders: Sequence[Slider]
    rows: Sequence[SliderValue]
    notes: Sequence[str]
    content: Mapping[str, Any]


def tables(response: Response, data: ReportData) -> ResponseTables:
    """Return the sliders of a response and their data."""
    sliders, controls = _sliders(response, data)
    followed: list[Judged | Steady] = [*response.judged, *response.steady]
    reserve = {} if data.plan.margin is None else data.plan.margin.reserve
    content = {
        "title": data.title, "parts": _parts(data, len(response.stages)), "stamp": data.source.config_sha256[:12],
        "controls": controls,
        "pieces": _plain(PIECES), "feed": _plain(np.array(response.feed)),
        "stages": [_stage(table) for table in response.stages],
        "leaves": _curve(response.leaves), "energy": _curve(response.energy),
        "limits": [_limit(one, float(reserve.get(one.name, 0.0))) for one in followed],
    }  # fmt: skip
    return ResponseTables(sliders, [_row(one) for one in followed], _notes(response, data), content)


def _sliders(response: Response, data: ReportData) -> tuple[list[Slider], dict[str, Any]]:
    """Return sliders, and the data of each for the script: value at the plan, step, units."""
    sliders, wheels = [], []
    for k, (low, high) in enumerate(response.speeds.tolist()):
        planned = float(response.wheel_speed[k])
        ratio, step = float(response.wheel_speed_b[k]) / planned, _step(high - low)
        wheels.append({
            "plan": planned, "step": step, "rpm": indicated_rpm(data.launcher, k, 1.0), "ratio": ratio,
            "set": "" if data.settings is None else rpm_of(data.settings, k, 0),
        })  # fmt: skip
        label = f"Wheel{'s' if data.launcher.stage(k).layout.side_b_driven else ''} of stage {k + 1}"
        sliders.append(Slider(f"wheel-{k + 1}", label, *_ends(planned, step, low, high)))
    step = _step(response.crush[1] - response.crush[0])
    crushes = [float(data.launcher.stage(k).crush) for k in range(len(wheels))]
    sliders.append(Slider("crush", "Crush of every stage", *_ends(0.0, step, *response.crush)))
    controls: dict[str, Any] = {"wheels": wheels, "crush": {"plan": crushes, "step": step}, "rate": None}
    if response.rate is not None and response.rates is not None:
        low, high = response.rates
        step = _step(high - low)
        sliders.append(Slider("rate", "Throws a second", *_ends(response.rate, step, low, high)))
        controls["rate"] = {"plan": response.rate, "step": step}
    return sliders, controls


def _parts(data: ReportData, count: int) -> list[list[str]]:
    """Return lines of the configuration that set the chosen parts, by stage."""
    numbers = () if data.plan.catalogue is None else data.plan.catalogue.numbers
    found: list[list[str]] = [[] for _ in range(count)]
    for k, chosen in enumerate(numbers[:count]):
        stage = data.scenario.launcher.stage(k)
        found[k] += [f"{key} = {show_value(value)}" for key, value in option_keys(stage, chosen).items()]
        found[k] += _wheel_lines(stage, chosen)
    return found


def _wheel_lines(stage: Stage, chosen: Parts) -> list[str]:
    """Return lines of the configuration that set the chosen radius and inertia of a wheel."""
    named = {name: value for name, value in chosen.design.items() if name != "crush"}
    if not named:
        return []
    made = with_variables(stage, named).wheel
    given = {"radius": ("m", made.radius), "inertia": ("kg m^2", made.inertia), "width": ("m", made.width)}
    return [
        f'wheel.{name} = "{format_quantity(float(np.mean(value)), unit=unit)}"'
        for name, (unit, value) in given.items()
        if value is not None and value != getattr(stage.wheel, name)
    ]


def _step(span: float) -> float:
    """Return a step of 1, 2 or 5 times a power of ten with at least `STEPS` of them over `span`."""
    scale = 10.0 ** floor(log10(span / STEPS))
    return float(next(scale * by for by in (5, 2, 1) if scale * by <= span / STEPS))


def _ends(plan: float, step: float, low: float, high: float) -> tuple[int, int]:
    return -floor((plan - low) / step + 1e-9), floor((high - plan) / step + 1e-9)


def _row(one: Judged | Steady) -> SliderValue:
    unit = _unit(one)
    if one.bound is None:
        return SliderValue(title(one.name), unit.name, "")
    most = f"{unit.shown(one.bound):.6g} {unit.name}".strip()
    return SliderValue(title(one.name), unit.name, f"{'at least' if one.floor else 'at most'} {most}")


def _unit(one: Judged | Steady) -> ScreenUnit:
    return unit_of(one.name, one.unit)


def _limit(one: Judged | Steady, reserve: float) -> dict[str, Any]:
    unit = _unit(one)
    found: dict[str, Any] = {
        "name": title(one.name), "unit": unit.name, "scale": unit.scale, "offset": unit.offset,
        "bound": one.bound, "floor": one.floor,
        "hard": one.hard, "reserve": max(reserve, 0.0),
    }  # fmt: skip
    if isinstance(one, Steady):
        surfaces = [_surface(surface) for surface in one.surfaces]
        return found | {
            "of": "steady",
            "base": _curve(one.base),
            "surfaces": surfaces,
            "by": one.by,
            "error": one.error,
        }
    curve = None if one.curve is None else _curve(one.curve)
    # The error of the margin is that of the grip limit over the margin.
    error = CLOSE / one.bound if one.of == "grip_margin" and one.bound else CLOSE
    surfaces = [_surface(surface) for surface in one.surfaces]
    return found | {"of": one.of, "curve": curve, "surfaces": surfaces, "error": error}


def _notes(response: Response, data: ReportData) -> list[str]:
    """Return sentences on the accuracy of the tables and on limits that they leave out."""
    notes = [
        f"Speeds, heat and grip come from tables made with the full model; exit speeds were within"
        f" {percent(max(response.error, 1e-3))} of it at {plural(response.checked, 'setting')} tried."
        " They are those of a single throw with the values as configured."
    ]
    if response.steady:
        worst = max(one.error for one in response.steady)
        notes.append(
            "Values marked ≈ depend on drives and rate: each slider's effect was computed by itself; together they were"
            f" up to {percent(worst, 0)} off where it was tried."
        )
    best = data.settings
    names = [*response.not_followed, *([] if best is None else [one.name for one in not_judged(best.design)])]
    if names:
        words = listing([title(name) for name in dict.fromkeys(names)])
        notes.append(f"Not shown here, or not judged: {words}. Use stager check.")
    lengths = {format_quantity(float(data.launcher.stage(k).crush), 0.0, "m") for k in range(len(response.stages))}
    if len(lengths) > 1:
        notes.append("Stages differ in crush; the slider changes each by the same length.")
    return notes


def _stage(table: StageResponse) -> dict[str, Any]:
    return {
        "arrival": _plain(table.arrival), "spin": _plain(table.spin_ratio), "crush": _plain(table.crush_change),
        "corners": packed(table.corners), "grip": packed(table.grip_limit),
        "values": [packed(values) for values in table.values],
    }  # fmt: skip


def _curve(curve: Curve) -> list[list[float]]:
    return [_plain(curve.nodes), _plain(curve.values)]


def _surface(surface: Surface) -> dict[str, Any]:
    return {"nodes": _plain(surface.nodes), "others": _plain(surface.others), "values": packed(surface.values)}


def packed(values: Floats) -> dict[str, Any]:
    """Return values as 16-bit integers between the least and the greatest, little-endian, in base 64."""
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
    span = high - low if high > low else 1.0
    scaled = np.where(np.isfinite(values), np.round((values - low) / span * MOST), MOST + 1)
    data = base64.b64encode(scaled.astype("<u2").tobytes()).decode()
    return {"low": low, "step": span / MOST, "data": data}


def _plain(values: Floats) -> Any:
    """Return numbers to nine significant digits."""
    if values.ndim:
        return [_plain(one) for one in values]
    return float(f"{float(values):.9g}")

"""Tables that answer while sliders move: the response of a launcher, packed for the page's script."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, log10, tau
from typing import Any

import numpy as np

from stager.constraints import not_judged
from stager.model.arrays import Floats
from stager.model.stage import Stage
from stager.optimise.records import Parts
from stager.optimise.response import PIECES, Curve, Judged, Response, StageTable, Steady, Surface
from stager.physics.parts import with_variables
from stager.report.limits import title, unit_of
from stager.report.numbers import listing, percent, plural
from stager.report.page.data import ReportData
from stager.units import ScreenUnit, format_quantity

MOST = 65534
"""Greatest of the whole numbers that stand for a table's values; the next one says that there is none."""
CLOSE = 2e-3
"""How closely tables tell what does not depend on throw after throw [-]."""
STEPS = 150
"""Steps over a slider's range, at least."""


@dataclass(frozen=True, slots=True)
class Slider:
    """A control; it stands at whole steps from the plan, from `low` to `high`."""

    key: str
    label: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A value that follows the sliders; allowed: in words, empty where no limit is set."""

    label: str
    unit: str
    allowed: str


@dataclass(frozen=True, slots=True)
class ResponseTables:
    """Sliders, rows and what the script needs, as plain data."""

    sliders: Sequence[Slider]
    rows: Sequence[LimitRow]
    notes: Sequence[str]
    content: Mapping[str, Any]


def tables(response: Response, data: ReportData) -> ResponseTables:
    """Return the sliders of a response and the data behind them."""
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
    """Controls, and what the script knows of each: value at the plan, step, units for people."""
    sliders, wheels = [], []
    for k, (low, high) in enumerate(response.speeds.tolist()):
        planned, radius = float(response.wheel_speed[k]), float(data.launcher.stage(k).wheel.radius)
        ratio, step = float(response.wheel_speed_b[k]) / planned, _step(high - low)
        wheels.append({"plan": planned, "step": step, "rpm": 60 / (tau * radius), "ratio": ratio})
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
    """Lines of the configuration that say which parts of its lists each stage has."""
    numbers = () if data.plan.catalogue is None else data.plan.catalogue.numbers
    found: list[list[str]] = [[] for _ in range(count)]
    for k, chosen in enumerate(numbers[:count]):
        stage = data.scenario.launcher.stage(k)
        found[k] += [f"wheel_option = {chosen.wheel}"] if stage.wheel_options else []
        found[k] += [f"drive_option = {chosen.drive}"] if stage.drive_options else []
        found[k] += _wheel_lines(stage, chosen)
    return found


def _wheel_lines(stage: Stage, chosen: Parts) -> list[str]:
    """Lines of the configuration that say which radius and inertia a wheel was given."""
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
    """Step of 1, 2 or 5 times a power of ten, so that a range has `STEPS` of them or more."""
    scale = 10.0 ** floor(log10(span / STEPS))
    return float(next(scale * by for by in (5, 2, 1) if scale * by <= span / STEPS))


def _ends(plan: float, step: float, low: float, high: float) -> tuple[int, int]:
    return -floor((plan - low) / step + 1e-9), floor((high - plan) / step + 1e-9)


def _row(one: Judged | Steady) -> LimitRow:
    unit = _unit(one)
    if one.bound is None:
        return LimitRow(title(one.name), unit.name, "")
    most = f"{unit.shown(one.bound):.6g} {unit.name}".strip()
    return LimitRow(title(one.name), unit.name, f"{'at least' if one.floor else 'at most'} {most}")


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
    # What is left of the grip limit is as sure as the grip limit.
    error = CLOSE / one.bound if one.of == "grip_margin" and one.bound else CLOSE
    surfaces = [_surface(surface) for surface in one.surfaces]
    return found | {"of": one.of, "curve": curve, "surfaces": surfaces, "error": error}


def _notes(response: Response, data: ReportData) -> list[str]:
    """How good the tables are, and what they leave out."""
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
        notes.append(f"Not followed here, or not judged at all: {words}. Ask stager check.")
    lengths = {format_quantity(float(data.launcher.stage(k).crush), 0.0, "m") for k in range(len(response.stages))}
    if len(lengths) > 1:
        notes.append("Stages differ in crush; the slider changes each by the same length.")
    return notes


def _stage(table: StageTable) -> dict[str, Any]:
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
    """Values as whole numbers of 16 bits from the least to the greatest, in base 64, little end first."""
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
    span = high - low if high > low else 1.0
    scaled = np.where(np.isfinite(values), np.round((values - low) / span * MOST), MOST + 1)
    data = base64.b64encode(scaled.astype("<u2").tobytes()).decode()
    return {"low": low, "step": span / MOST, "data": data}


def _plain(values: Floats) -> Any:
    """Numbers to nine significant digits."""
    if values.ndim:
        return [_plain(one) for one in values]
    return float(f"{float(values):.9g}")

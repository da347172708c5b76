"""The settings card: what to set, wheel by wheel. It hangs above the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from stager.model.launcher import Launcher
from stager.optimise.records import Settings
from stager.physics.motion import turns_per_minute
from stager.physics.muzzle import outlet_speed
from stager.report.digits import MISSING, plural, speed
from stager.report.document import Source
from stager.report.page.html import Markup, join, tag
from stager.units import format_quantity

SHORT = 12
COLUMNS = (
    ("stage", "", ""), ("wheel", "", ""), ("surface speed", "m/s", ""), ("wheel", "rpm", "main"),
    ("throttle", "%", ""), ("below grip limit", "%", ""), ("exit speed", "m/s", "roomy"),
)  # fmt: skip
"""Head, unit and style of what a row of the card says."""
SAFETY = "Eye protection on, guard closed, backstop in place, nobody ahead."


def card(title: str, launcher: Launcher, best: Settings, recommended: int, source: Source) -> Markup:
    """A row a wheel, equal wheels of a pair in one."""
    rows, columns = settings_rows(launcher, best, recommended), COLUMNS
    known = [i for i in range(len(columns)) if any(row[i] != MISSING for row, _ in rows)]
    heads = tag("tr", *(_head(*columns[i]) for i in known))
    body = (
        tag("tr", *(_cell(columns[i], row[i], first=i == 0) for i in known), class_=None if worth else "spare")
        for row, worth in rows
    )
    drawn = tag("table", tag("thead", heads), tag("tbody", *body))
    return tag(
        "section", tag("h2", "Settings card", tag("span", title, class_="of")), drawn,
        _foot(launcher, best, recommended, source), id="card", aria_label="Settings card",
    )  # fmt: skip


def settings_rows(launcher: Launcher, best: Settings, recommended: int) -> list[tuple[Sequence[str], bool]]:
    """Return the cells of each row, see `COLUMNS`, and whether its stage is worth building; a row a wheel."""
    throttles = _throttles(best)
    return [row for k in range(best.count) for row in _rows(launcher, best, k, throttles, worth=k < recommended)]


def _head(text: str, unit: str, kind: str) -> Markup:
    return tag("th", text, tag("span", f" {unit}", class_="unit") if unit else None, scope="col", class_=kind or None)


def _cell(column: tuple[str, str, str], text: str, *, first: bool) -> Markup:
    return tag("th" if first else "td", text, scope="row" if first else None, class_=column[2] or None)


def _throttles(best: Settings) -> Mapping[tuple[int, int], float]:
    train, holding = best.design.train, best.design.holding
    if train is None or holding is None:
        return {}
    places = zip(train.stage, train.side, strict=True)
    return {place: float(value) for place, value in zip(places, np.asarray(holding.throttle), strict=True)}


def _rows(
    launcher: Launcher, best: Settings, k: int, throttles: Mapping[tuple[int, int], float], *, worth: bool
) -> list[tuple[Sequence[str], bool]]:
    stage, part = launcher.stage(k), best.throw.stages
    a, b = float(part.wheel_speed_a[k]), float(part.wheel_speed_b[k])
    grip, leaves = float(best.grip_limit[k]), float(part.exit_speed[k])
    split = stage.layout.side_b_driven and a != b
    names = ["A", "B"] if split else ["A + B" if stage.layout.side_b_driven else "A"]
    leads = "B" if split and best.spin < 0 else names[0]
    found: list[tuple[Sequence[str], bool]] = []
    for side, name in enumerate(names):
        u = (a, b)[side]
        throttle = throttles.get((k, side))
        cells = (
            str(k + 1), name, speed(u), f"{float(turns_per_minute(u, stage.wheel)):.0f}",
            MISSING if throttle is None else f"{100 * throttle:.1f}",
            MISSING if names[side] != leads or np.isnan(grip) else _below(1 - u / grip), speed(leaves),
        )  # fmt: skip
        found.append((cells, worth))
    return found


def _below(share: float) -> str:
    return f"{max(100 * share, 0.0):.1f}" if share > -5e-4 else f"{-100 * share:.1f} past"


def _foot(launcher: Launcher, best: Settings, recommended: int, source: Source) -> Markup:
    spare = None
    if recommended < best.count:
        spare = tag("p", f"Worth building: {plural(recommended, 'stage')}. Lighter rows are past that.", class_="note")
    return join(
        tag("p", facts(launcher, best), class_="facts"), spare,
        tag("p", SAFETY, class_="warning"),
        tag("p", f"configuration {source.config_sha256[:SHORT]}", class_="stamp"),
    )  # fmt: skip


def facts(launcher: Launcher, best: Settings) -> str:
    """Say how projectiles are fed, what the supply is, and how fast they leave."""
    said = [f"Feed at {format_quantity(float(launcher.feed.speed), 0.0, 'm/s')}"]
    if launcher.feed.rate is not None:
        said.append(f"{float(launcher.feed.rate):g} a second")
    if launcher.supply is not None:
        said.append(f"supply {format_quantity(float(launcher.supply.voltage), 0.0, 'V')}")
    said.append(f"leaves at {speed(float(outlet_speed(launcher, best.exit_speed)))} m/s")
    without = "" if not np.isnan(best.grip_limit).any() else " No grip limit: none within the wheel's range."
    return f"{', '.join(said)}.{without}"

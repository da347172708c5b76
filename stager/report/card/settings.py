"""What to set, wheel by wheel: rows of the settings card, on its own sheet and on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from stager.model.launcher import Launcher
from stager.optimise.records import Settings
from stager.physics.motion import turns_per_minute
from stager.physics.muzzle import outlet_speed
from stager.report.digits import MISSING, speed
from stager.report.table import Column
from stager.units import format_quantity

SHORT = 12
"""Digits of the configuration's hash on the card."""
COLUMNS = (
    Column("stage"), Column("wheel", words=True), Column("surface speed", "m/s"), Column("wheel", "rpm"),
    Column("throttle", "%"), Column("below grip limit", "%"), Column("exit speed", "m/s"),
)  # fmt: skip
SAFETY = "Eye protection on, guard closed, backstop in place, nobody ahead."


def settings_rows(launcher: Launcher, best: Settings, recommended: int) -> list[tuple[Sequence[str], bool]]:
    """Return the cells of each row, see `COLUMNS`, and whether its stage is worth building; a row a wheel."""
    throttles = _throttles(best)
    return [row for k in range(best.count) for row in _rows(launcher, best, k, throttles, worth=k < recommended)]


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


def facts(launcher: Launcher, best: Settings) -> str:
    """Say how projectiles are fed, what the supply is, and how fast they leave."""
    said = [f"Feed at {format_quantity(float(launcher.feed.speed), 0.0, 'm/s')}"]
    if launcher.feed.rate is not None:
        said.append(f"{float(launcher.feed.rate):g} a second")
    if launcher.supply is not None:
        said.append(f"supply {format_quantity(float(launcher.supply.voltage), 0.0, 'V')}")
    said.append(f"exit speed {speed(float(outlet_speed(launcher, best.exit_speed)))} m/s")
    without = bool(np.isnan(best.grip_limit).any())
    return f"{', '.join(said)}.{' Stages without a figure have no grip limit within their range.' if without else ''}"

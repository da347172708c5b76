"""Sweep the wheel speed of one stage behind the stages before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.constraints import speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import DEFAULT, throw, transit
from stager.physics.grip_limit import StageArrival, TransitFunction, arrive

POINTS = 81
"""Points of the curve."""
BEYOND = 2.0
"""End of the curve over the grip limit [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """Exit speed against wheel speed of a stage, and its grip limit.

    stage: its number, from 1; before_a, before_b: wheel speeds of the stages before it [m/s]; entry_speed [m/s], 0
    where the projectile jams before it; coupled: whether the stage before still holds the projectile as it enters.
    wheel_speed, exit_speed [m/s]: the curve, shape (points,). grip_speed, grip_exit: the grip limit, beyond `top` where
    a margin asks for it, and the exit speed there [m/s], None where exit speed still rises. top: end of the speed range
    [m/s], set by `ends_by`.
    """

    stage: int
    before_a: Floats
    before_b: Floats
    entry_speed: float
    coupled: bool
    wheel_speed: Floats
    exit_speed: Floats
    grip_speed: float | None
    grip_exit: float | None
    top: float
    ends_by: str


def sweep(
    scenario: Scenario, index: int, before: Sequence[tuple[float, float]] = (), way: TransitFunction = transit
) -> Sweep:
    """Sweep the wheel speed of stage `index` (from 0).

    before: speeds of side A and B [m/s] of the stages before it. Where there are fewer: the set speed, else the grip
    limit less grip_margin, else the end of the range. way: how the swept stage is passed, by its leading wheel, unless
    it holds the projectile together with the stage before.
    """
    side_a, side_b = np.zeros(0), np.zeros(0)
    for k in range(index):
        a, b = before[k] if k < len(before) else _own(scenario, k, side_a, side_b)
        side_a, side_b = np.append(side_a, a), np.append(side_b, b)
    reach = speed_range(scenario.launcher, scenario.limit_values, index)
    top = float(reach.top)
    arrival = arrive(scenario.launcher, side_a, side_b, top, transit_function=way)
    speed = float(arrival.entry_speed.item())
    grip, grip_exit = _grip(scenario, index, arrival, top)
    grid = np.linspace(0.0, top if grip is None else min(max(top, grip), BEYOND * grip), POINTS)
    exits = throw(scenario.launcher, _chains(side_a, grid), _chains(side_b, grid)).exit_speed
    if way is not transit and speed > 0:
        exits = arrival.exit_speed(scenario.launcher, index, grid, DEFAULT)
    return Sweep(
        stage=index + 1, before_a=side_a, before_b=side_b, entry_speed=speed, coupled=arrival.coupled, wheel_speed=grid,
        exit_speed=exits, grip_speed=grip, grip_exit=grip_exit, top=top, ends_by=reach.ends_by,
    )  # fmt: skip


def _own(scenario: Scenario, k: int, side_a: Floats, side_b: Floats) -> tuple[float, float]:
    """Return the set speeds of stage `k` [m/s], else its grip limit less grip_margin, else the end of the range."""
    stage = scenario.launcher.stage(k)
    if stage.speed is not None:
        a = float(stage.speed)
        return a, a if stage.speed_b is None else float(stage.speed_b)
    top = float(speed_range(scenario.launcher, scenario.limit_values, k).top)
    grip, _ = _grip(scenario, k, arrive(scenario.launcher, side_a, side_b, top), top)
    chosen = top if grip is None else min(grip * (1 - scenario.limit_values.grip_margin), top)
    return chosen, chosen


def _grip(scenario: Scenario, k: int, arrival: StageArrival, top: float) -> tuple[float | None, float | None]:
    """Return the grip limit and its exit speed [m/s], None where there is none or nothing arrives."""
    if not arrival.entry_speed.item() > 0:
        return None, None
    found = arrival.grip_limit(scenario.launcher, k, np.array([top]), scenario.limit_values.grip_margin)
    at = float(found.wheel_speed[0])
    return (None, None) if np.isnan(at) else (at, float(found.exit_speed[0]))


def _chains(before: Floats, grid: Floats) -> Floats:
    return np.column_stack([np.broadcast_to(before, (grid.size, before.size)), grid])

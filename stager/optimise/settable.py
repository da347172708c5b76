"""Wheel speeds as they are shown, to 0.01 m/s and to 1 rpm, such that they keep every limit that the settings keep.

Rounding up may break a limit, and rounding an earlier wheel down lowers the grip limits of later ones. So rounded
speeds are evaluated, and wheels are slowed by single digits until all these limits are kept. Readings of a tachometer
that does not show true speeds are rounded likewise.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, slacks
from stager.constraints.limit import ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.grip_limits import operating_point
from stager.optimise.judge import judge_settings
from stager.optimise.records import Settings, ShownSpeeds
from stager.physics.chain import throw
from stager.physics.flight import indicated_wheel_speed
from stager.physics.mechanics import turns_per_minute

SPEED_STEP = 0.01
"""Last digit of a shown wheel speed [m/s]."""
TRIES = 12
"""Greatest number of roundings that are evaluated, each slower than the one before."""
FEW = 2
"""Greatest number of stages of which every wheel may be up to AROUND digits faster or slower."""
AROUND = 5
"""Digits by which these wheels are faster or slower, where slower ones break limits."""
MANY = 6
"""Greatest number of stages of which every wheel may be one digit faster or slower."""


def as_shown(scenario: Scenario, settings: Settings) -> Settings:
    """Return settings with the wheel speeds that are shown; without limits kept at those, rounded to the nearest."""
    if not settings.count:
        return settings
    launcher = settings.design.launcher
    per_speed = np.array([turns_per_minute(1.0, launcher.stage(k).wheel) for k in range(settings.count)])
    read_per_speed = np.array([indicated_wheel_speed(launcher, one) for one in per_speed])
    surface = _rounded(scenario, settings, np.full(settings.count, SPEED_STEP))
    turning = _rounded(scenario, settings, 1.0 / per_speed)
    true = np.array_equal(per_speed, read_per_speed)
    read = turning if true else _rounded(scenario, settings, 1.0 / read_per_speed)
    shown = ShownSpeeds(wheel_speed=surface, rpm=turning * per_speed, indicated_rpm=read * read_per_speed)
    return replace(settings, shown=shown)


def _rounded(scenario: Scenario, settings: Settings, step: Floats) -> Floats:
    """Return surface speeds of sides A and B [m/s], (2, stages), as multiples of `step` [m/s], (stages,)."""
    exact = np.stack([settings.wheel_speed, settings.beside]) / step
    kept = {one.name for one in settings.verdicts if one.satisfied}
    nearest = steps = np.round(exact)
    for turn in range(TRIES):
        late = _breaking(scenario, settings, steps * step, kept)
        if not late.any():
            return np.asarray(steps * step)
        steps = np.floor(exact + 1e-9) if turn == 0 else np.maximum(steps - late, 0.0)
    if settings.feasible:
        nearest = _near(scenario, settings, nearest, step)
    return np.asarray(nearest * step)


def _near(scenario: Scenario, settings: Settings, nearest: Floats, step: Floats) -> Floats:
    """Return the steps of the fastest speeds near the `nearest` that keep every limit; `nearest` where none do.

    A limit on the acceleration of a rod in two stages may be broken by a first wheel that is slower.
    """
    count = settings.count
    if count > MANY:
        return nearest
    digits = np.arange(-AROUND, AROUND + 1) if count <= FEW else np.arange(-1, 2)
    moves = np.array(list(product(digits, repeat=count)))
    steps = np.maximum(nearest[None] + moves[:, None, :], 0.0)
    split = None if settings.wheel_speed_b is None else steps[:, 1] * step
    judged = judge_settings(replace(scenario, launcher=settings.design.launcher), steps[:, 0] * step, split)
    speed = np.where((judged.slack >= -ROUNDING) & ~judged.jammed, judged.exit_speed, 0.0)
    return np.asarray(steps[int(np.argmax(speed))] if speed.any() else nearest)


def _breaking(scenario: Scenario, settings: Settings, speeds: Floats, kept: set[str]) -> NDArray[np.bool_]:
    """Return which stages break a limit of those named `kept`, (stages,): all where it is one of all together."""
    launcher, limit_values = settings.design.launcher, scenario.limit_values
    split = None if settings.wheel_speed_b is None else speeds[1]
    done = throw(launcher, speeds[0], split)
    point = operating_point(launcher, limit_values, done)
    late = np.full(settings.count, bool(done.jammed))
    for limit in LIMITS:
        if limit.name in kept and not late.all() and (found := slacks(limit, point)) is not None:
            late |= found < -ROUNDING
    return late

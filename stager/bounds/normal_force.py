"""Range of the normal force along one contact, over an interval of set speeds.

Wheels grow with set speed, so the crush has a least and a greatest value at each place; tilt does not change, as the
axes do not move. Out of contact the least normal force is 0. Round shapes: c = reach − √(x² + h²); a rod has a ramp,
its length and a ramp, along which dc/dξ = −(ξ − end)/(R + growth); see physics.contact.equations.

The columns of the arrays that bounds are computed in are here too.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any, NamedTuple

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.compiled import compiled, inlined
from stager.physics.contact.equations import power
from stager.physics.wheel import nip_growth, stiffened

# BODY: values that all cells of a stage share.
(
    MASS, RATIO, WHEEL_MASS, MOTOR_SLOPE, STALL, INERTIA, ROLLS, NORMALS, HELD_NORMALS, OF_LEAD, OF_BAND, TURNING,
    LIGHT, EXPONENT, REBOUND, ROD_LENGTH,
) = range(16)  # fmt: skip
"""RATIO: κ; WHEEL_MASS: M [kg]; MOTOR_SLOPE, STALL: see `traction.Motor`; INERTIA … OF_BAND: see
`single_driven.Coefficients`; TURNING, LIGHT: see `traction.speed_ranges`; ROD_LENGTH [m], below 0 for round shapes.
"""
BODY = 16

# PRESS: the contact of one cell, for its least and its greatest wheel speed.
LEAST_REACH, MOST_REACH, HEIGHT = range(3)
"""Of round shapes: R + r with growth, and the distance of the axis from the line of the projectile's centre [m]."""
DEPTH, RADIUS, RAMP, ROLLING = 0, 2, 4, 6
"""Of rods, each the least and then the greatest: crush [m], R with growth [m], length of a ramp [m], rolling loss of a
side as a force [N]."""
SOFTEST, STIFFEST = 8, 9
"""Least and greatest stiffness of a side [N/m^exponent]."""
PRESS = 10

# LANE: the state of one cell.
(
    SET_LOW, SET_HIGH, HOLD_LOW, HOLD_HIGH, STORED, SPIN_LOW, SPIN_HIGH, CRUSH, FASTEST, DIP, JAMS, STALLS, STRAIN,
    CROSSING, BARRIER_LOW, BARRIER_HIGH, SPENT,
) = range(17)  # fmt: skip
"""SET_LOW, SET_HIGH: least and greatest U [m/s]; HOLD_LOW, HOLD_HIGH: `Motor.holding` at them [N]; STORED: greatest
crush energy of a side [J]; SPIN_LOW, SPIN_HIGH, CRUSH: see `traction.speed_ranges`; FASTEST: greatest v so far
[m/s]; DIP: sum of what v² would have fallen below 0 [m^2/s^2]; JAMS, STALLS: 1 where all throws, where some may stop;
STRAIN: least peak acceleration so far [m/s^2]; CROSSING: least acceleration at the crest of friction since all slips
were above it, −∞ before that [m/s^2]; BARRIER_*: what z cannot cross within a step [m/s]; SPENT: steps taken, −1: too
many."""
LANE = 17


@dataclass(frozen=True, slots=True)
class Press:
    """The contact of each cell.

    columns: see PRESS, (cells, PRESS); stored: greatest crush energy of one side [J], most_tilted: least cos φ [-],
    (cells,).
    """

    columns: Floats
    stored: Floats
    most_tilted: Floats


def press_between(launcher: Launcher, stage: Stage, low: Floats, high: Floats) -> Press:
    """Return the contact of `stage` for set speeds from `low` to `high` [m/s], (cells,), equal on both sides."""
    least, most = (
        np.broadcast_to(np.asarray(nip_growth(stage, speed, speed), dtype=np.float64), low.shape)
        for speed in (low, high)
    )
    projectile = launcher.projectile
    crush = stage.layout.crush_share * float(stage.crush)
    columns, contact = np.zeros((low.size, PRESS)), launcher.contact
    ends = [stiffened(float(contact.stiffness), float(contact.stiffening), speed) for speed in (low, high)]
    columns[:, SOFTEST], columns[:, STIFFEST] = np.minimum(*ends), np.maximum(*ends)
    if projectile.shape.rolls:
        rest = float(stage.wheel.radius + projectile.radius)
        columns[:, LEAST_REACH], columns[:, MOST_REACH], columns[:, HEIGHT] = rest + least, rest + most, rest - crush
        stored = _energy(launcher, columns[:, STIFFEST], crush + most)
        return Press(columns, stored, (rest - crush) / (rest + most))
    for end, growth in enumerate((least, most)):
        depth, radius = crush + growth, stage.wheel.radius + growth
        ramp = np.sqrt(2 * radius * depth)
        columns[:, DEPTH + end], columns[:, RADIUS + end], columns[:, RAMP + end] = depth, radius, ramp
        stored = _energy(launcher, columns[:, SOFTEST + end], depth)
        columns[:, ROLLING + end] = (1 - contact.rebound) * stored / ramp
    return Press(columns, stored, np.ones(low.size))


def _energy(launcher: Launcher, stiffness: Floats, crush: Floats) -> Floats:
    """Return the energy of a crush of one side [J]."""
    degree = launcher.contact.exponent + 1.0
    return np.asarray(stiffness * crush**degree / degree)


ROUND_PIECES = 2
"""Smooth pieces of the contact of a round shape: before and behind the axis plane."""
ROD_PIECES = 3
"""Smooth pieces of the contact of a rod: ramp, length, ramp."""
MIDDLE = 1
"""Index of a rod's length among them."""


@inlined
def pieces(body: Any) -> int:
    """Return the number of smooth pieces of a contact."""
    return ROUND_PIECES if body[ROD_LENGTH] < 0.0 else ROD_PIECES


@inlined
def piece(body: Any, press: Any, number: int) -> tuple[float, float, float]:
    """Return start and length of a smooth piece [m], and its bend.

    With the parameter τ from 0 to 1, bend −1: x ∝ τ² (entry), 1: 1 − x ∝ (1 − τ)² (exit), 0: x ∝ τ.
    """
    length = body[ROD_LENGTH]
    if length < 0.0:
        half = sqrt(press[MOST_REACH] * press[MOST_REACH] - press[HEIGHT] * press[HEIGHT])
        return (-half, half, -1.0) if number == 0 else (0.0, half, 1.0)
    ramp = press[RAMP + 1]
    if number == 0:
        return -ramp, ramp, -1.0
    return (0.0, length, 0.0) if number == MIDDLE else (length, ramp, 1.0)


@inlined
def along(start: float, span: float, bend: float, parameter: float) -> tuple[float, float]:
    """Return the place [m] in a piece and its derivative by the parameter 0 … 1 [m]."""
    if bend < 0.0:
        return start + span * parameter * parameter, 2.0 * span * parameter
    if bend > 0.0:
        left = 1.0 - parameter
        return start + span * (1.0 - left * left), 2.0 * span * left
    return start + span * parameter, span


class Pressed(NamedTuple):
    """Ranges of forces at one place.

    low, high: normal force N of a side [N]; cosine: cos φ [-]; tilt_*: share of N along the barrel [-]; loss_*: rolling
    loss of a side along the barrel [N].
    """

    low: float
    high: float
    cosine: float
    tilt_low: float
    tilt_high: float
    loss_low: float
    loss_high: float


@compiled
def pressed(body: Any, press: Any, number: int, place: float) -> Pressed:
    """Return the ranges of forces at `place` [m] in a piece."""
    length, back, exponent = body[ROD_LENGTH], 1.0, body[EXPONENT]
    if length < 0.0:
        if number > 0:
            back = body[REBOUND]
        height = press[HEIGHT]
        distance = sqrt(place * place + height * height)
        low = back * press[SOFTEST] * power(max(press[LEAST_REACH] - distance, 0.0), exponent)
        high = back * press[STIFFEST] * power(max(press[MOST_REACH] - distance, 0.0), exponent)
        sine = place / distance
        return Pressed(low, high, height / distance, sine, sine, 0.0, 0.0)
    past, lost_low, lost_high = place, 0.0, 0.0
    if number == MIDDLE:
        past, lost_low, lost_high = 0.0, -press[ROLLING + 1], -press[ROLLING]
    elif number > MIDDLE:
        past -= length
        back = body[REBOUND]
    low = back * press[SOFTEST] * power(_crush(press[DEPTH], press[RAMP], past), exponent)
    high = back * press[STIFFEST] * power(_crush(press[DEPTH + 1], press[RAMP + 1], past), exponent)
    one, two = past / press[RADIUS], past / press[RADIUS + 1]
    return Pressed(low, high, 1.0, min(one, two), max(one, two), lost_low, lost_high)


@inlined
def _crush(depth: float, ramp: float, past: float) -> float:
    share = past / ramp
    return max(depth * (1.0 - share * share), 0.0)


@inlined
def push(pressed: Any, grip: float, count: float, sign: float) -> tuple[float, float]:
    """Return the greatest (sign 1) or least (−1) of N·grip + count·(N t + l) [N], and the N [N] where it is taken."""
    tilt, lost = (pressed.tilt_high, pressed.loss_high) if sign > 0.0 else (pressed.tilt_low, pressed.loss_low)
    share = grip + count * tilt
    normal = pressed.high if sign * share > 0.0 else pressed.low
    return normal * share + count * lost, normal

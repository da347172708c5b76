"""The limit on the exit energy of throws after the first, at the feed's rate.

A wheel that turns so fast that the projectile slips through throws harder as it slows down, and one that brakes the
projectile is driven by it, so that a later throw may break a limit on the exit that the first one keeps.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from stager.constraints.design import ENERGY_PER_AREA, EXIT_ENERGY, EXIT_SPEED, TOY, toy_energy
from stager.constraints.limit import ROUNDING, Kind, Limit, OperatingPoint, at_most, missing_drive
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.chain import Options, throw
from stager.physics.flight import outlet_speed
from stager.physics.mechanics import translation_energy
from stager.physics.rate import sequence, settled
from stager.physics.records import Grip, flatten, take

SLOWER = 0.02
"""Share by which wheels are slower in a throw that tells whether slower wheels throw faster [-]."""
LATER = Options(tolerance=1e-4)
"""For throws that are compared with the first: their exit speeds are accurate to about 1e-5 [-]."""
LEAST_EXIT = 1e-9
"""Exit speed that no throw falls below in ratios [m/s]."""
TOLD = 2e-5
"""Rise of exit speed in such a throw that is told from its accuracy [-]."""
NEAR = 0.6
"""Share of the bound from which the greatest energy is found closely [-]: more throws raise it by far less."""
ACCURATE = 1e-4
"""Rise of exit energy from throw to throw that is told from the accuracy of throws [-]."""


def _energy_bounds(point: OperatingPoint, factors: Mapping[str, float]) -> dict[str, Number]:
    """Return the exit energy that each limit on exit speed or energy allows [J], by its name.

    factors: on the bounds of these limits [-], 1 for those without one.
    """
    values, projectile = point.limit_values, point.launcher.projectile
    area = projectile.known_frontal_area
    looser = {limit.name: factors.get(limit.name, 1.0) for limit in (EXIT_ENERGY, EXIT_SPEED, ENERGY_PER_AREA, TOY)}
    bounds: dict[str, Number] = {EXIT_ENERGY.name: looser[EXIT_ENERGY.name] * values.exit_energy}
    if values.exit_speed is not None:
        bounds[EXIT_SPEED.name] = translation_energy(looser[EXIT_SPEED.name] * values.exit_speed, projectile)
    if values.energy_per_area is not None and area is not None:
        bounds[ENERGY_PER_AREA.name] = looser[ENERGY_PER_AREA.name] * values.energy_per_area * area
    if values.toy is not None:
        bounds[TOY.name] = looser[TOY.name] * toy_energy(values.toy, projectile)
    return bounds


def _energy_bound(point: OperatingPoint) -> Number:
    """Return the least exit energy that a limit on exit speed or energy allows [J]."""
    bounds = _energy_bounds(point, {})
    return np.asarray(np.minimum.reduce(np.broadcast_arrays(*bounds.values())))


def _may_rise(point: OperatingPoint) -> NDArray[np.bool_]:
    """Return where later throws may leave faster than the first, and above the bound on exit energy.

    Not where the projectile comes to the speed of the last driven wheel, which drives it on: a slower wheel then throws
    slower. Otherwise a slower wheel may grip better, which a throw with slower wheels tells, and wheels that brake the
    projectile are driven by it. It leaves no faster than the fastest wheel turns, or than it enters the last stage.
    """
    stages, launcher = point.throw.stages, point.launcher
    layout = launcher.stage(point.count - 1).layout
    one_speed = not layout.side_b_turns or (layout.side_b_driven and point.set_speeds[1] is None)
    driven_on = stages.exit_speed[..., -1] >= stages.entry_speed[..., -1]
    held = one_speed & driven_on & (stages.grip[..., -1] == Grip.SYNC)
    most = np.maximum(point.fastest.max(axis=-1), np.maximum(stages.entry_speed, stages.exit_speed)[..., -1])
    risen = translation_energy(most, launcher.projectile) > _energy_bound(point)
    found = np.asarray(~held & ~point.throw.jammed & risen)
    rows = np.flatnonzero(found)
    if not rows.size:
        return found
    machine, speed, speed_b = _samples(point, found.shape, rows)
    first = stages.exit_speed[..., -1].reshape(-1)[rows]
    slower = np.ones((3, 1, point.count))
    slower[0], slower[1, 0, :-1], slower[2, 0, -1] = 1 - SLOWER, 1 - SLOWER, 1 - SLOWER
    slower = slower[: 1 if point.count == 1 else 3]

    def tried(set_speed: Floats, after: Floats) -> Floats:
        """Return slower speeds of a side's wheels, and those without any recovery, for wheels the projectile drives."""
        return np.concatenate([slower * set_speed, _rows(after, found.shape, rows)[None]])

    a = tried(speed, stages.wheel_speed_after_a)
    b = None if speed_b is None else tried(speed_b, stages.wheel_speed_after_b)
    rises = throw(machine, a, b, options=LATER).exit_speed > (1 + TOLD) * first
    found.reshape(-1)[rows] = rises.any(axis=0)
    return found


def _samples(
    point: OperatingPoint, shape: tuple[int, ...], rows: NDArray[np.intp]
) -> tuple[Launcher, Floats, Floats | None]:
    """Return the launcher and the wheel speeds of sides A and B [m/s] of samples of the flattened batch."""
    speed, speed_b = point.set_speeds
    other = None if speed_b is None else _rows(speed_b, shape, rows)
    return take(flatten(point.launcher, shape), rows), _rows(speed, shape, rows), other


def _rows(values: Floats, shape: tuple[int, ...], rows: NDArray[np.intp]) -> Floats:
    """Return values of the stages, (..., stages), in the samples `rows` of the flattened batch, (rows, stages)."""
    return np.broadcast_to(values, (*shape, values.shape[-1])).reshape(-1, values.shape[-1])[rows]


def _later_bound(point: OperatingPoint) -> Number | None:
    """Return the bound on the exit energy of later throws [J]; None without a rate, or where they cannot exceed it."""
    if point.launcher.feed.rate is None or not point.count:
        return None
    return _energy_bound(point) if point.batched or point.once(_may_rise) else None


def _later_energy(point: OperatingPoint) -> Number | None:
    """Return the greatest exit energy of the first throw and those after it [J]; 0 where later ones are no faster.

    Wheels slow down from the set speeds to those of steady throwing; throws are computed along this way.
    """
    if point.launcher.feed.rate is None or not point.count:
        return None
    rising = point.once(_may_rise)
    energy, rows = np.where(rising, point.exit_energy, 0.0).reshape(-1), np.flatnonzero(rising)
    if rows.size and point.holding is not None:
        energy[rows] *= _greatest_rise(point, rising.shape, rows)
    return energy.reshape(rising.shape)


def _greatest_rise(
    point: OperatingPoint, shape: tuple[int, ...], rows: NDArray[np.intp], throws: int = 3, rounds: int = 1
) -> Floats:
    """Return greatest exit energy / that of the first throw [-] in the samples `rows` of the flattened batch.

    The greatest of the first `throws`, as wheels of other stages slow down and recover differently, and of throws on
    the way to steady throwing, the more the larger `rounds`. More of both where a few show a rise up to NEAR of the
    bound.
    """
    launcher, speed, speed_b = _samples(point, shape, rows)
    assert launcher.feed.rate is not None
    state = settled(launcher, launcher.feed.rate, speed, speed_b, options=LATER)
    assert state is not None
    cycle, lanes, low, high = state.cycle, np.arange(rows.size), np.zeros(rows.size), np.ones(rows.size)
    exits = outlet_speed(launcher, sequence(cycle, throws, LATER).exit_speed)
    first, greatest = exits[0], exits.max(axis=0)
    for _ in range(rounds):
        shares = np.linspace(low, high, 3 if rounds == 1 else 9)[1 if rounds == 1 else 0 :]
        wheels = [cycle.target * (1 - share[:, None] * state.missing) for share in shares]
        exits = np.array([outlet_speed(launcher, cycle.throw(one, LATER).exit_speed) for one in wheels])
        greatest, best = np.maximum(greatest, exits.max(axis=0)), np.argmax(exits, axis=0)
        low, high = shares[np.maximum(best - 1, 0), lanes], shares[np.minimum(best + 1, len(shares) - 1), lanes]
    rise = np.square(greatest / np.maximum(first, LEAST_EXIT))
    found = np.where(rise > 1 + ACCURATE, rise, 1.0)
    found[state.unsettled] = np.nan
    energy, bound = np.broadcast_to(point.exit_energy, shape), np.broadcast_to(_energy_bound(point), shape)
    more = (found > 1) & (energy.reshape(-1)[rows] * found > NEAR * bound.reshape(-1)[rows])
    if rounds == 1 and more.any():
        found[more] = np.maximum(found[more], _greatest_rise(point, shape, rows[more], 8, 3))
    return found


def _missing_for_later(point: OperatingPoint) -> str | None:
    """Return the key without which the wheels' slowing is unknown, where slower wheels would break the bound."""
    key = missing_drive(point)
    if key is None:
        return None
    speed, speed_b = point.set_speeds
    slower = np.linspace(1.0, 0.1, 19)[:, None]
    done = throw(point.launcher, slower * speed, None if speed_b is None else slower * speed_b, options=point.options)
    energies = np.asarray(translation_energy(outlet_speed(point.launcher, done.exit_speed), point.launcher.projectile))
    return key if bool((energies > (1 + ROUNDING) * _energy_bound(point)).any()) else None


def _later_remedy(point: OperatingPoint) -> str:
    last = point.count - 1
    grip = np.nan if point.grip_limit is None else float(point.grip_limit[last])
    how = f"wheel {point.count} at {at_most(grip)}" if np.isfinite(grip) else f"a slower wheel {point.count}"
    return f"{how}, as later throws leave faster than the first"


LATER_ENERGY = Limit(
    name="later_energy", kind=Kind.STEADY, settles=True, unit="J", hard=True, jumps=True,
    value=_later_energy,
    bound=_later_bound,
    follows=_energy_bounds,
    missing=_missing_for_later,
    remedy=_later_remedy,
)  # fmt: skip

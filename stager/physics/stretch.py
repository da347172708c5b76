"""One stretch of the way: nips that act together, with the records of their stages."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.hardware.stage import Layout
from stager.physics.layout import pitch
from stager.physics.options import Options
from stager.physics.records import Grip, Transit
from stager.physics.settings import Settings
from stager.physics.transit.equations import Lanes
from stager.physics.transit.group import Trail, travel
from stager.physics.transit.lanes import take
from stager.physics.transit.nip import Nip
from stager.physics.transit.press import build_sides, join
from stager.physics.transit.sides import Sides

BLANK = tuple(field.name for field in fields(Transit) if field.name not in ("wheel_speed_a", "wheel_speed_b"))
SYNC_CREEPS = 3.0


def blank(*shape: int) -> Transit:
    """Records of stages that were not reached, fields of the given shape."""
    values = {field.name: np.zeros(shape) for field in fields(Transit)}
    values["grip"] = np.full(shape, Grip.NOT_REACHED, np.int8)
    return Transit(**values)  # type: ignore[arg-type]


def write(out: Transit, settings: Settings, layouts: list[Layout]) -> None:
    """Set speeds as they were asked for, also of stages not reached; an idler starts at rest."""
    for k, layout in enumerate(layouts):
        out.wheel_speed_a[k] = settings.of_a(k)[0]
        out.wheel_speed_b[k] = settings.of_b(k)[0] if layout.side_b_driven else 0.0


def through(
    launcher: Launcher,
    first: int,
    group: list[int],
    nips: tuple[Nip, ...],
    speed: Floats,
    spin: Floats,
    alive: NDArray[np.bool_],
    settings: Settings,
    out: Transit,
    options: Options,
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Take the living lanes through `group`; writes to `out`; gives speed [m/s], spin [rad/s], who lives on."""
    index = np.flatnonzero(alive)
    if index.size == 0:
        return speed, spin, alive
    if index.size < alive.size:
        launcher, nips, settings = take(launcher, index), take(nips, index), take(settings, index)
    starts, turning = speed[index], spin[index]
    stages = [launcher.stage(first + k) for k in group]
    rolls = launcher.projectile.shape.rolls
    even = settings.side_b is None and settings.held_b is None and not turning.any()
    even = even and all(stage.layout.side_b_driven for stage in stages)
    sides = tuple(
        build_sides(launcher.contact, stage, rolls, settings.of_a(k), settings.of_b(k), mirrored=even)
        for k, stage in enumerate(stages)
    )
    lanes = _lanes(launcher, first, group, join(sides, np.atleast_1d(launcher.contact.creep)), options.books)
    state = _start(lanes, starts, turning)
    trail, journey = travel(lanes, nips, state, options)
    _record(lanes, nips, trail, journey.place, index, group, out)
    jammed = journey.jammed
    speed, spin, alive = speed.copy(), spin.copy(), alive.copy()
    speed[index] = np.where(jammed, 0.0, journey.state[0])
    spin[index] = journey.state[1]
    alive[index] = ~jammed
    return speed, spin, alive


def _lanes(launcher: Launcher, first: int, group: list[int], sides: Sides, books: bool) -> Lanes:
    projectile = launcher.projectile
    axes, at = [np.zeros(1)], np.zeros(1)
    for k in group[:-1]:
        at = at + pitch(launcher, first + k)
        axes.append(np.atleast_1d(at))
    inverse = 1 / np.atleast_1d(projectile.spin_inertia) if projectile.shape.rolls else np.zeros(1)
    return Lanes(
        mass=np.atleast_1d(np.asarray(projectile.mass, dtype=np.float64)),
        radius=np.atleast_1d(np.asarray(projectile.radius, dtype=np.float64)),
        inverse_spin_inertia=inverse, axes=tuple(axes), sides=sides, books=books,
    )  # fmt: skip


def _start(lanes: Lanes, speed: Floats, spin: Floats) -> Floats:
    count = len(lanes.sides.laws)
    rows = 2 + count + (1 + 2 * count if lanes.books else 0)
    state = np.zeros((rows, speed.size))
    state[0], state[1] = speed, spin
    state[2 : 2 + count] = lanes.sides.set_speed
    return state


def _record(
    lanes: Lanes, nips: tuple[Nip, ...], trail: Trail, place: Floats, index: NDArray[np.intp], group: list[int],
    out: Transit,
) -> None:  # fmt: skip
    every = np.arange(index.size)
    sides = lanes.sides
    segments = np.arange(len(trail.peak_acceleration))[:, None]
    for number, (nip, k) in enumerate(zip(nips, group, strict=True)):
        began, ended = trail.began[number], trail.ended[number]
        own = [side for side, owner in enumerate(sides.nip) if owner == number]
        before, after = trail.state[began, :, every].T, trail.state[ended, :, every].T
        inside = (segments >= began) & (segments < ended)
        reached, stopped = ~trail.jammed[began, every], trail.jammed[ended, every]
        offset = np.where(stopped, place - lanes.axes[number], nip.breaks[-1])
        entered = offset > nip.breaks[0]
        later = np.zeros(index.size, bool)
        if number + 1 < len(nips):
            later = place - lanes.axes[number + 1] > nips[number + 1].breaks[0]
        reached = reached & entered
        least = np.where(inside, trail.least_slip[:, own[0]], np.inf).min(axis=0)
        grip = np.where(least <= SYNC_CREEPS * lanes.sides.creep, Grip.SYNC, Grip.SLIP)
        values = {
            "entry_speed": before[0],
            "exit_speed": np.where(stopped, 0.0, after[0]),
            "entry_spin": before[1],
            "exit_spin": after[1],
            "wheel_speed_after_a": after[2 + own[0]],
            "slip_at_exit": trail.exit_slip[np.maximum(ended - 1, 0), own[0], every],
            "least_slip": least,
            "grip": np.where(stopped & ~later, Grip.JAM, grip),
            "crush_loss": nip.crush_loss(offset),
            "peak_acceleration": np.where(inside, trail.peak_acceleration, 0.0).max(axis=0),
            "peak_slip_power": np.where(inside, trail.peak_slip_power, 0.0).max(axis=0),
            **_side_b(lanes, own, after),
            **(_books(lanes, own, before, after) if lanes.books else {}),
        }
        chosen = index[reached]
        for name, value in values.items():
            getattr(out, name)[k, chosen] = np.broadcast_to(value, index.shape)[reached]


def _side_b(lanes: Lanes, own: list[int], after: Floats) -> dict[str, Floats]:
    side = own[-1]
    turning = lanes.sides.inverse_inertia[side] > 0
    return {"wheel_speed_after_b": np.where(turning, after[2 + side], lanes.sides.set_speed[side])}


def _books(lanes: Lanes, own: list[int], before: Floats, after: Floats) -> dict[str, Floats]:
    count, sides = len(lanes.sides.laws), lanes.sides
    gathered = after - before
    first, last = own[0], own[-1]
    work, heat = gathered[3 + count : 3 + 2 * count], gathered[3 + 2 * count :]
    return {
        "contact_time": gathered[2 + count],
        "wheel_work_a": work[first],
        "wheel_work_b": work[last],
        "slip_heat_a": heat[first],
        "slip_heat_b": heat[last],
        "motor_work": sum(sides.weight[side] * _motor_work(sides, side, work[side], before, after) for side in own),
    }


def _motor_work(sides: Sides, side: int, work: Floats, before: Floats, after: Floats) -> Floats:
    """What the wheel gave plus what it gained; 0 for a wheel too heavy to slow down, and for a rail or idler."""
    driven = (sides.inverse_inertia[side] > 0) & (sides.motor_slope[side] > 0)
    inertia = 1 / np.where(driven, sides.inverse_inertia[side], 1.0)
    gained = inertia * (after[2 + side] ** 2 - before[2 + side] ** 2) / (2 * sides.radius[side] ** 2)
    return np.where(driven, work + gained, 0.0)

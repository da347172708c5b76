"""One stretch of the way: nips that act together, with the records of their stages."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Layout
from stager.physics.layout import pitch
from stager.physics.options import Options
from stager.physics.records import FIELDS, Grip, Transit
from stager.physics.settings import Settings
from stager.physics.transit.equations import Lanes
from stager.physics.transit.group import travel
from stager.physics.transit.lanes import take
from stager.physics.transit.nip import Nip
from stager.physics.transit.press import build_sides, join
from stager.physics.transit.sides import Sides
from stager.physics.transit.trail import Trail

BLANK = tuple(name for name in FIELDS if name not in ("wheel_speed_a", "wheel_speed_b"))
SYNC_CREEPS = 3.0


def blank(*shape: int) -> Transit:
    """Records of stages that were not reached, fields of the given shape."""
    values = {name: np.zeros(shape) for name in FIELDS}
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
    trail, *ends = travel(lanes, nips, _start(lanes, starts, turning), options)
    spins = trail.state[:, 1] if lanes.sides.turns else np.broadcast_to(turning, trail.jammed.shape)
    _record(lanes, nips, trail, spins, ends, index, group, out)
    jammed = trail.jammed[-1]
    speed, spin, alive = speed.copy(), spin.copy(), alive.copy()
    speed[index] = np.where(jammed, 0.0, trail.state[-1, 0])
    spin[index] = spins[-1]
    alive[index] = ~jammed
    return speed, spin, alive


def _lanes(launcher: Launcher, first: int, group: list[int], sides: Sides, books: bool) -> Lanes:
    projectile = launcher.projectile
    axes, at = [np.zeros(1)], np.zeros(1)
    for k in group[:-1]:
        at = at + pitch(launcher, first + k)
        axes.append(np.atleast_1d(at))
    radius = np.atleast_1d(np.asarray(projectile.radius, dtype=np.float64))
    return Lanes(
        inverse_mass=sides.weight / np.atleast_1d(np.asarray(projectile.mass, dtype=np.float64)), radius=radius,
        spin_gain=radius / np.atleast_1d(projectile.spin_inertia) if projectile.shape.rolls else np.zeros(1),
        axes=tuple(axes), sides=sides, books=books,
    )  # fmt: skip


def _start(lanes: Lanes, speed: Floats, spin: Floats) -> Floats:
    sides = lanes.sides
    state = np.zeros((sides.rows + (1 + 2 * len(sides.laws) if lanes.books else 0), speed.size))
    state[0] = speed
    if sides.turns:
        state[1] = spin
    state[sides.wheels] = sides.set_speed
    return state


def _record(
    lanes: Lanes, nips: tuple[Nip, ...], trail: Trail, spins: Floats, ends: list[NDArray[np.intp]],
    index: NDArray[np.intp], group: list[int], out: Transit,
) -> None:  # fmt: skip
    every = np.arange(index.size)
    sides, place = lanes.sides, trail.place
    first = sides.wheels.start
    segments = np.arange(len(trail.thrust))[:, None]
    for number, (nip, k) in enumerate(zip(nips, group, strict=True)):
        began, ended = ends[0][number], ends[1][number]
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
            "entry_spin": spins[began, every],
            "exit_spin": spins[ended, every],
            "wheel_speed_after_a": after[first + own[0]],
            "slip_at_exit": trail.exit_slip[np.maximum(ended - 1, 0), own[0], every],
            "least_slip": least,
            "grip": np.where(stopped & ~later, Grip.JAM, grip),
            "crush_loss": nip.crush_loss(offset),
            "peak_acceleration": np.where(inside, trail.thrust, 0.0).max(axis=0) * lanes.inverse_mass,
            "peak_slip_power": np.where(inside, trail.slip_power, 0.0).max(axis=0) * sides.weight,
            **_side_b(lanes, own, after),
            **(_books(lanes, own, before, after) if lanes.books else {}),
        }
        if reached.all():
            for name, value in values.items():
                getattr(out, name)[k, index] = value
            continue
        chosen = index[reached]
        for name, value in values.items():
            getattr(out, name)[k, chosen] = np.broadcast_to(value, index.shape)[reached]


def _side_b(lanes: Lanes, own: list[int], after: Floats) -> dict[str, Floats]:
    side, sides = own[-1], lanes.sides
    turning = sides.inverse_inertia[side] > 0
    return {"wheel_speed_after_b": np.where(turning, after[sides.wheels.start + side], sides.set_speed[side])}


def _books(lanes: Lanes, own: list[int], before: Floats, after: Floats) -> dict[str, Floats]:
    count, sides = len(lanes.sides.laws), lanes.sides
    time, *gathered = after[sides.rows :] - before[sides.rows :]
    first, last = own[0], own[-1]
    work, heat = gathered[:count], gathered[count:]
    return {
        "contact_time": time,
        "wheel_work_a": work[first],
        "wheel_work_b": work[last],
        "slip_heat_a": heat[first],
        "slip_heat_b": heat[last],
        "motor_work": sides.weight * sum(_motor_work(sides, side, work[side], before, after) for side in own),
    }


def _motor_work(sides: Sides, side: int, work: Floats, before: Floats, after: Floats) -> Floats:
    """What the wheel gave plus what it gained; 0 for a wheel too heavy to slow down, and for a rail or idler."""
    driven = (sides.inverse_inertia[side] > 0) & (sides.motor_slope[side] > 0)
    inertia = 1 / np.where(driven, sides.inverse_inertia[side], 1.0)
    row = sides.wheels.start + side
    gained = inertia * (after[row] ** 2 - before[row] ** 2) / (2 * sides.radius[side] ** 2)
    return np.where(driven, work + gained, 0.0)

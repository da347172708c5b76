"""A launcher as the kernel's arrays, and many throws on several threads."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.errors import NotComputable
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Layout, Stage
from stager.parallel import cores
from stager.physics import compiled
from stager.physics.air import disc
from stager.physics.batch import batch_shape, as_samples
from stager.physics.contact import stages
from stager.physics.contact.columns import IDLER, PAIR, RAIL
from stager.physics.friction.dispatch import number_and_values
from stager.physics.guide import slowing
from stager.physics.layout import pitch
from stager.physics.rotor import driven_inertia, growth


class Packed(NamedTuple):
    """Arrays of a launcher for `stages.throw_samples`, and the shape of its batch."""

    body: Floats
    stages: Floats
    law_numbers: NDArray[np.int64]
    laws: Floats
    shape: tuple[int, ...]


def pack(launcher: Launcher, first: int, count: int) -> Packed:
    """Return the arrays of `count` stages from stage `first` on.

    Raises ValueError where a part that a throw needs is missing from the launcher.
    """
    shape = batch_shape(launcher)
    wheel, rail = launcher.contact.friction, launcher.contact.rail_friction
    found = [number_and_values(law) for law in ((wheel,) if rail is wheel else (wheel, rail))]
    found = found * (3 - len(found))
    width = max(len(values) for _, values in found)
    return Packed(
        body=_rows([[*_body(launcher), *(_push(launcher) if first == 0 else (0.0, 0.0))]], shape)[:, 0],
        stages=_rows([_stage(launcher, first + k, k + 1 < count) for k in range(count)], shape),
        law_numbers=np.array([number for number, _ in found], dtype=np.int64),
        laws=_rows([[*values, *[0.0] * (width - len(values))] for _, values in found], shape),
        shape=shape,
    )


def spread(packed: Packed, shape: tuple[int, ...]) -> Packed:
    """Return a packed launcher with its batch broadcast to `shape`."""
    if packed.shape in ((), shape):
        return packed

    def wide(values: Floats) -> Floats:
        if values.shape[0] == 1:
            return values
        inner = values.shape[1:]
        tall = values.reshape(*packed.shape, *inner)
        return np.ascontiguousarray(np.broadcast_to(tall, (*shape, *inner))).reshape(-1, *inner)

    return packed._replace(
        body=wide(packed.body), stages=wide(packed.stages), laws=wide(packed.laws), shape=shape
    )  # fmt: skip


def _body(launcher: Launcher) -> list[Number]:
    projectile, contact = launcher.projectile, launcher.contact
    rolls = projectile.shape.rolls
    if not rolls and projectile.length is None:
        raise ValueError("a rod needs a length")
    return [
        projectile.mass, projectile.radius, projectile.spin_inertia if rolls else 0.0,
        -1.0 if rolls or projectile.length is None else projectile.length,
        contact.stiffness, contact.exponent, contact.rebound, contact.creep, *slowing(launcher.guide, projectile),
    ]  # fmt: skip


def _push(launcher: Launcher) -> tuple[Number, Number]:
    """Return force of the pusher [N], and where it lets go, as a place of a rod's front or a round one's centre [m]."""
    feed, projectile = launcher.feed, launcher.projectile
    if feed.push is None:
        return 0.0, 0.0
    length = 0.0 if projectile.shape.rolls or projectile.length is None else projectile.length
    return feed.push, length / 2 + (length / 2 if feed.push_end is None else feed.push_end)


def _stage(launcher: Launcher, index: int, more: bool) -> list[Number]:
    stage = launcher.stage(index)
    layout, radius = stage.layout, stage.wheel.radius
    idles = layout.side_b_turns and not layout.side_b_driven
    if idles and stage.idler_inertia is None:
        raise ValueError("an idler needs its inertia")
    return [
        float(_kind(layout)), radius, layout.crush_share * stage.crush, growth(stage.wheel, 1.0),
        1 / driven_inertia(stage), 1 / stage.idler_inertia if idles and stage.idler_inertia is not None else 0.0,
        pitch(launcher, index) if more else 0.0, *_drive(stage),
    ]  # fmt: skip


def _kind(layout: Layout) -> int:
    if layout.side_b_driven:
        return PAIR
    return IDLER if layout.side_b_turns else RAIL


def _drive(stage: Stage) -> list[Number]:
    drive, air = stage.drive, disc(stage.wheel.radius)
    turning = [air.laminar, air.turbulent, air.core, air.transition]
    if drive is None:
        return [0.0, 1.0, 0.0, 0.0, *turning]
    pull = drive.gear * drive.torque_constant
    slope = pull * drive.gear / (drive.speed_constant * drive.resistance * stage.wheel.radius)
    return [slope, pull, drive.no_load_current, drive.current_limit, *turning]


def _rows(rows: Sequence[Sequence[Any]], shape: tuple[int, ...]) -> Floats:
    """Return the numbers or arrays over the batch as one array of shape (samples or 1, rows, columns)."""
    flat = [value for row in rows for value in row]
    if all(isinstance(value, float) or np.size(value) == 1 for value in flat):
        table = np.array([value if isinstance(value, float) else np.asarray(value).item() for value in flat])
        return table.reshape(1, len(rows), -1) if rows else np.zeros((1, 0, 0))
    columns = [as_samples(value, shape) for value in flat]
    table = np.empty((max(column.size for column in columns), len(flat)))
    for number, column in enumerate(columns):
        table[:, number] = column
    return table.reshape(len(table), len(rows), -1)


FEW = 192
"""Contacts up to which one thread is used [-]: starting another takes about as long."""
CHUNK = 96
"""Least contacts in a chunk [-]."""
PER_THREAD = 4
"""Chunks for each thread [-], so that no thread waits long for another."""


def threads() -> int:
    """Return the number of threads: OMP_NUM_THREADS, else one a core; 1 in a worker process or without a compiler."""
    if not compiled.COMPILES or multiprocessing.parent_process() is not None:
        return 1
    if (said := os.environ.get("OMP_NUM_THREADS", "")).isdigit() and int(said):
        return int(said)
    return cores()


def share(work: Callable[[int, int], None], samples: int, cost: int) -> None:
    """Call `work(low, high)` for chunks of 0 … `samples` on several threads; a sample takes as long as `cost` contacts.

    Samples are independent: results are the same for any number of threads.
    """
    workers = threads() if samples > 1 and samples * cost > FEW else 1
    if workers == 1:
        work(0, samples)
        return
    size = max(-(-CHUNK // max(cost, 1)), -(-samples // (PER_THREAD * workers)), 1)
    with ThreadPoolExecutor(workers) as pool:
        begun = [pool.submit(work, low, min(low + size, samples)) for low in range(0, samples, size)]
        wait(begun)
    for future in begun:
        future.result()


def run(
    packed: Packed, speeds: Sequence[Floats], entry_speed: Floats, spin: Floats, ends: Any,
    options: Floats, out: Floats, exits: Floats,
) -> None:  # fmt: skip
    """Throw all samples; arguments as in `stages.throw_samples`, speeds in [m/s].

    Raises NotComputable where the allowed number of steps does not suffice.
    """

    def work(low: int, high: int) -> None:
        lost = stages.throw_samples(
            low, high, packed.body, packed.stages, packed.law_numbers, packed.laws, *speeds, entry_speed, spin, ends,
            options, out, exits,
        )  # fmt: skip
        if lost:
            raise NotComputable("a contact needs more than the allowed number of steps")

    share(work, len(exits), speeds[0].shape[1])

"""A launcher as the kernel's arrays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Layout, Stage
from stager.physics.batch import batch_shape, lane
from stager.physics.contact.columns import IDLER, PAIR, RAIL
from stager.physics.friction.choose import number_and_values
from stager.physics.growth import growth
from stager.physics.guide import slowing
from stager.physics.inertia import driven_inertia
from stager.physics.layout import pitch
from stager.physics.windage import disc


class Packed(NamedTuple):
    """Arrays of a launcher as `stages.throw_samples` takes them, and the shape of its batch."""

    body: Floats
    stages: Floats
    kinds: NDArray[np.int64]
    laws: Floats
    shape: tuple[int, ...]


def pack(launcher: Launcher, first: int, count: int) -> Packed:
    """Return the arrays of `count` stages from number `first` on.

    Raises ValueError where a part that a throw needs is missing from the launcher.
    """
    shape = batch_shape(launcher)
    wheel, rail = launcher.contact.friction, launcher.contact.rail_friction
    found = [number_and_values(law) for law in ((wheel,) if rail is wheel else (wheel, rail))]
    found = found * (3 - len(found))
    width = max(len(values) for _, values in found)
    return Packed(
        body=_rows([_body(launcher)], shape)[:, 0],
        stages=_rows([_stage(launcher, first + k, k + 1 < count) for k in range(count)], shape),
        kinds=np.array([number for number, _ in found], dtype=np.int64),
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
    """Numbers or arrays over the batch as one array of shape (samples or 1, rows, columns)."""
    flat = [value for row in rows for value in row]
    if all(isinstance(value, float) or np.size(value) == 1 for value in flat):
        table = np.array([value if isinstance(value, float) else np.asarray(value).item() for value in flat])
        return table.reshape(1, len(rows), -1) if rows else np.zeros((1, 0, 0))
    columns = [lane(value, shape) for value in flat]
    table = np.empty((max(column.size for column in columns), len(flat)))
    for number, column in enumerate(columns):
        table[:, number] = column
    return table.reshape(len(table), len(rows), -1)

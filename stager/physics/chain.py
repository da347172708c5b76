"""A throw through a chain of stages, and the options of its integration."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cache
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.physics.barrel import length, pitch
from stager.physics.contact.columns import RECORD
from stager.physics.contact.run import JAM, Packed, pack, part, run, spread
from stager.physics.records import FIELDS, Grip, Throw, Transit, as_samples, common_shape, shape_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Accuracy of the integrator.

    tolerance: local error of a step, relative to speed squared and to speeds [-]
    steps: fixed number of steps of a segment instead of error control, for measuring the order
    energies: accumulate works, heats and contact time too; off: they are 0, and a throw takes a sixth less time
    lost_jams: a throw that the allowed number of steps does not suffice for counts as a jam; else it is an error
    """

    tolerance: float = 1e-7
    steps: int | None = None
    energies: bool = True
    lost_jams: bool = False


DEFAULT = Options()
QUICK = Options(tolerance=1e-4, energies=False)
"""For a search: exit speeds are accurate to about 1e-5 [-]."""

SURE = Options(tolerance=1e-5, energies=False)
"""For a fit: jams are found too; larger steps may pass over a standstill in front of fast wheels."""


__all__ = ["Prepared", "length", "onward", "pitch", "prepare", "throw", "transit"]

SET = ("wheel_speed_a", "wheel_speed_b")
"""Fields that a stage has whether it is reached or not."""
REMEMBERED = 16
"""Launchers whose arrays are kept for the next throw [-]."""


class Prepared:
    """Stages of a launcher as arrays, for throws at many settings."""

    def __init__(self, launcher: Launcher, stages: int, first: int = 0, packed: Packed | None = None) -> None:
        self.launcher = launcher
        self.stages = stages
        self.first = first
        self.packed: Packed = pack(launcher, first, stages) if packed is None else packed
        self._ends = np.array([stages], dtype=np.int64)

    def throw(
        self,
        wheel_speed: Floats,
        wheel_speed_b: Floats | None = None,
        *,
        entry_speed: Number | None = None,
        entry_spin: Number | None = None,
        held_speed: Floats | None = None,
        held_speed_b: Floats | None = None,
        count: Floats | None = None,
        options: Options = DEFAULT,
    ) -> Throw:
        """Return a throw at set surface speeds [m/s], shape (..., stages); arguments and result as in `throw`."""
        speeds = np.asarray(wheel_speed, dtype=np.float64)
        held = speeds if held_speed is None else np.asarray(held_speed, dtype=np.float64)
        speeds_b = speeds if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
        if held_speed_b is not None:
            held_b = np.asarray(held_speed_b, dtype=np.float64)
        else:
            held_b = held if wheel_speed_b is None else speeds_b
        entry = self.launcher.feed.speed if entry_speed is None else entry_speed
        if entry_spin is None:
            entry_spin = self.launcher.feed.spin if entry_speed is None else 0.0
        shapes = [self.packed.shape, speeds.shape[:-1], shape_of(entry), shape_of(entry_spin)]
        shapes.append(() if count is None else np.shape(count))
        shapes += [values.shape[:-1] for values in (speeds_b, held, held_b) if values is not speeds]
        shape = common_shape(*shapes)
        samples, stages = prod(shape), self.stages
        rows = [_rows(speeds, shape, samples, stages)]
        for values in (speeds_b, held, held_b):
            rows.append(rows[0] if values is speeds else _rows(values, shape, samples, stages))
        out, exits = np.empty((samples, RECORD, stages)), np.empty((samples, 3))
        run(
            spread(self.packed, shape), rows, as_samples(entry, shape), as_samples(entry_spin, shape),
            self._ends if count is None else as_samples(count, shape).astype(np.int64), options_array(options), out,
            exits, lost_jams=options.lost_jams,
        )  # fmt: skip
        return as_throw(out, exits, shape)


def as_throw(out: Floats, exits: Floats, shape: tuple[int, ...]) -> Throw:
    """Return a throw from the output of a kernel, records (samples, RECORD, stages) and exits (samples, 3)."""
    stages = out.shape[2]
    records = np.ascontiguousarray(out.transpose(1, 0, 2)).reshape(RECORD, *shape, stages)
    columns: dict[str, Any] = dict(zip(FIELDS, records, strict=True))
    columns["grip"] = columns["grip"].astype(np.int8)
    ends = np.ascontiguousarray(exits.T).reshape(3, *shape)
    jammed: NDArray[np.bool_] = np.asarray(ends[2] == JAM)
    return Throw(stages=Transit(**columns), exit_speed=ends[0, ...], spin=ends[1, ...], jammed=jammed)


def _rows(values: Floats, shape: tuple[int, ...], samples: int, stages: int) -> Floats:
    """Return settings of shape (..., stages) as an array (samples, stages)."""
    if values.shape != (*shape, stages):
        values = np.broadcast_to(values, (*shape, stages))
    return np.ascontiguousarray(values).reshape(samples, stages)


@cache
def options_array(options: Options) -> Floats:
    """Return the options as the array that a kernel takes."""
    return np.array([options.tolerance, options.steps or 0, options.energies], dtype=np.float64)


_known: OrderedDict[tuple[int, int, int], Prepared] = OrderedDict()


def prepare(launcher: Launcher, stages: int, *, first: int = 0) -> Prepared:
    """Return `stages` stages of a launcher from stage `first` on, for throws at many settings.

    The last REMEMBERED results are kept. Some of the stages of a chain that was prepared are taken from its arrays.

    Raises
    ------
    ValueError
        Where a part that the throw needs is missing from the launcher.
    """
    key = (id(launcher), first, stages)
    found = _known.get(key)
    if found is None or found.launcher is not launcher:
        more = (one for one in _known.values() if one.launcher is launcher and one.first == 0)
        whole = next((one for one in more if one.stages >= first + stages), None)
        found = Prepared(launcher, stages, first, None if whole is None else part(whole.packed, first, stages))
        _known[key] = found
        if len(_known) > REMEMBERED:
            _known.popitem(last=False)
    return found


def throw(
    launcher: Launcher,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    entry_speed: Number | None = None,
    entry_spin: Number | None = None,
    held_speed: Floats | None = None,
    held_speed_b: Floats | None = None,
    first: int = 0,
    count: Floats | None = None,
    options: Options = DEFAULT,
) -> Throw:
    """Return a throw through as many stages as `wheel_speed` has on its last axis.

    Parameters
    ----------
    launcher : Launcher
        Arrays in it are over the batch and broadcast against ``wheel_speed[..., k]``.
    wheel_speed, wheel_speed_b : array, shape (..., stages)
        Set surface speeds [m/s]; side B's where a pair runs two speeds.
    entry_speed : float or array, optional
        Into the first stage [m/s]; by default the feed's.
    entry_spin : float or array, optional
        Into the first stage [rad/s]; by default the feed's, or 0 where `entry_speed` is given.
    held_speed, held_speed_b : array, shape (..., stages), optional
        Speeds that the throttles would hold [m/s]; by default the set speeds.
    first : int
        Stage of the launcher that the throw begins with, from 0.
    count : array, optional
        Number of stages of each throw; further ones are not reached.
    options : Options
        Accuracy.

    Returns
    -------
    Throw
        Of shape (...) and, for its stages, (..., stages).

    Raises
    ------
    ValueError
        Where a part that the throw needs is missing from the launcher.
    """
    speeds = np.asarray(wheel_speed, dtype=np.float64)
    return prepare(launcher, speeds.shape[-1], first=first).throw(
        speeds, wheel_speed_b, entry_speed=entry_speed, entry_spin=entry_spin, held_speed=held_speed,
        held_speed_b=held_speed_b, count=count, options=options,
    )  # fmt: skip


def onward(
    launcher: Launcher, earlier: Throw, wheel_speed: Floats, wheel_speed_b: Floats | None = None, *,
    options: Options = DEFAULT,
) -> Throw:  # fmt: skip
    """Return a throw through one stage more than `earlier`, whose stages let the projectile go before the next one.

    Parameters
    ----------
    launcher : Launcher
        Without a guide, so that the projectile arrives as fast as it left.
    earlier : Throw
        Through the first stages, its batch broadcast against that of the result.
    wheel_speed, wheel_speed_b : array
        Set surface speeds of the next stage [m/s].
    """
    index, through = earlier.stages.grip.shape[-1], ~earlier.jammed
    speed, spin = np.where(through, earlier.exit_speed, 1.0), np.where(through, earlier.spin, 0.0)
    done = transit(launcher, index, speed, wheel_speed, wheel_speed_b, entry_spin=spin, options=options)
    shape = done.exit_speed.shape
    reached = np.broadcast_to(through, shape)
    columns = {}
    for name in FIELDS:
        last = getattr(done, name)
        if name not in SET:
            last = np.where(reached, last, Grip.NOT_REACHED if name == "grip" else 0)
        before = np.broadcast_to(getattr(earlier.stages, name), (*shape, index))
        columns[name] = np.concatenate([before, last.astype(before.dtype)[..., None]], axis=-1)
    through = reached & ~done.jammed
    return Throw(
        stages=Transit(**columns), exit_speed=np.where(through, done.exit_speed, 0.0),
        spin=np.where(through, done.exit_spin, 0.0), jammed=~through,
    )  # fmt: skip


def transit(
    launcher: Launcher,
    index: int,
    entry_speed: Number,
    wheel_speed: Number,
    wheel_speed_b: Number | None = None,
    *,
    entry_spin: Number = 0.0,
    options: Options = DEFAULT,
) -> Transit:
    """Return one transit through stage `index`; speeds [m/s], spin [rad/s] and result have the batch's shape."""
    speed_b = None if wheel_speed_b is None else np.asarray(wheel_speed_b)[..., None]
    done = throw(
        launcher, np.asarray(wheel_speed)[..., None], speed_b,
        entry_speed=entry_speed, entry_spin=entry_spin, first=index, options=options,
    )  # fmt: skip
    return Transit(**{name: getattr(done.stages, name)[..., 0] for name in FIELDS})

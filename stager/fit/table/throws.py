"""Define the record of measured throws, and compute surface speeds from its columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Supply
from stager.physics.motor import build_drivetrain, steady_speeds


class Reading(Protocol):
    """A kind of wheel column: surface speed, angular speed or throttle."""

    @property
    def asks_supply(self) -> bool:
        """Whether surface speeds depend on the supply's voltage."""
        ...

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Return what the launcher lacks for such a column, "" for nothing."""
        ...

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Return surface speeds [m/s] of wheels of `stages` from `values` (..., n, wheels) in SI; supply [V], (n,)."""
        ...


@dataclass(frozen=True, slots=True)
class SurfaceReading:
    """Indicated surface speed [m/s]."""

    asks_supply: bool = False

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Return "": nothing is needed."""
        return ""

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Return the surface speeds, corrected for the tachometer [m/s]."""
        return _true(launcher, values)


@dataclass(frozen=True, slots=True)
class TurningRate:
    """Indicated angular speed [rad/s], converted to surface speed with the radius at rest."""

    asks_supply: bool = False

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Return "": nothing is needed."""
        return ""

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Return ωR, corrected for the tachometer [m/s]."""
        radii = [np.asarray(launcher.stage(k).wheel.radius, dtype=np.float64) for k in stages]
        return _true(launcher, values * np.stack(np.broadcast_arrays(*radii), axis=-1))


@dataclass(frozen=True, slots=True)
class Throttle:
    """Throttle, share of the supply's voltage [-]; the wheels run at the speeds where motors and windage balance."""

    asks_supply: bool = True

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Return the drive or the supply that the launcher lacks; "" for nothing."""
        if launcher.stage(stage).drive is None:
            return f"stage.drive, to turn a throttle into a speed of stage {stage + 1}"
        return "" if launcher.supply is not None else "[supply], to turn a throttle into a speed"

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Return the steady surface speeds on the common supply [m/s]."""
        chosen = replace(launcher, stages=tuple(launcher.stage(k) for k in stages))
        train = build_drivetrain(chosen, len(stages))
        if train is None or launcher.supply is None:
            raise ValueError("a throttle needs a drive and a supply")
        volts = _volts(launcher.supply, supply)
        shape = np.broadcast_shapes(values.shape[:-1], np.shape(volts), train.radius.shape[:-1], train.pull.shape[:-1])
        throttle = np.broadcast_to(values, (*shape, len(stages)))
        turning = steady_speeds(train, throttle, replace(launcher.supply, voltage=np.broadcast_to(volts, shape)))
        return turning * train.radius


def _true(launcher: Launcher, values: Floats) -> Floats:
    """Return true wheel speeds from indicated ones (..., n, wheels); the launcher's fields have shape (..., 1)."""
    if launcher.measuring is None:
        return values
    return np.asarray(values * np.asarray(launcher.measuring.wheel_speed)[..., None])


def _volts(own: Supply, measured: Floats) -> Number:
    return np.where(np.isnan(measured), own.voltage, measured)


SURFACE, TURNING_RATE, THROTTLE = SurfaceReading(), TurningRate(), Throttle()


Mask = NDArray[np.bool_]
"""Which throws, (n,)."""
Rows = NDArray[np.intp]
"""Numbers of rows, or of lines, (n,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheels:
    """A column of wheel speeds.

    stage: from 0
    side: 0: A, 1: B
    reading: kind of the column
    values: in SI, (n,); NaN where a cell is empty
    """

    stage: int
    side: int
    reading: Reading
    values: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Throws:
    """Measured throws, one a row, shape (n,); NaN where a cell is empty.

    line: of the file
    order: number of the throw, or its place in the file
    numbered: the table numbers the throws
    build: name of the build; note
    exit_speed: 0 after a jam [m/s]
    supply [V]; time [s]; temperature [K]
    wheels: one for each column
    at_outlet: exit speeds are those at the outlet, from flights; else readings of a chronograph
    uncertainty: relative standard uncertainty of each exit speed, from comments of the table [-], (n,), NaN after a
        jam; None: none
    step: least step of the instrument at each exit speed, relative [-], (n,), NaN after a jam; None: not known
    source: the file; without_speed: lines that were left out without an exit speed; passed: heads that were ignored
    """

    line: Rows
    order: Floats
    build: NDArray[np.str_]
    exit_speed: Floats
    supply: Floats
    time: Floats
    temperature: Floats
    note: NDArray[np.str_]
    wheels: tuple[Wheels, ...]
    numbered: bool = False
    at_outlet: bool = False
    uncertainty: Floats | None = None
    step: Floats | None = None
    source: str = ""
    without_speed: tuple[int, ...] = ()
    passed: tuple[str, ...] = ()

    def __len__(self) -> int:
        return int(self.exit_speed.size)

    def chosen(self, rows: Mask | Rows) -> Throws:
        """Return the throws of some rows."""
        arrays = {
            field.name: getattr(self, field.name)[rows]
            for field in fields(self)
            if isinstance(getattr(self, field.name), np.ndarray)
        }
        return replace(self, **arrays, wheels=tuple(replace(w, values=w.values[rows]) for w in self.wheels))

    @property
    def builds(self) -> tuple[str, ...]:
        """Return the names of the builds, in the order of their first throws."""
        return tuple(dict.fromkeys(self.build.tolist()))

    @property
    def jammed(self) -> Mask:
        """Whether each throw jammed, (n,)."""
        return np.asarray(self.exit_speed == 0)

    @property
    def settings(self) -> Rows:
        """Return the number of each throw's setting, (n,); equal settings have the same number."""
        columns = [wheel.values for wheel in self.wheels]
        if any(wheel.reading.asks_supply for wheel in self.wheels):
            columns.append(self.supply)
        table = np.column_stack([*columns, np.zeros(len(self))])
        rounded = np.where(np.isnan(table), -1.0, np.round(table, 9))
        return np.unique(rounded, axis=0, return_inverse=True)[1].reshape(-1)

    @property
    def present(self) -> Mask:
        """Whether each stage was on the launcher, (n, stages)."""
        count = 1 + max(wheel.stage for wheel in self.wheels)
        there = np.zeros((len(self), count), dtype=bool)
        for wheel in self.wheels:
            there[:, wheel.stage] |= ~np.isnan(wheel.values)
        return there

    def surface_speed(self, launcher: Launcher, stages: Sequence[int], side: int) -> Floats:
        """Return surface speeds of one side of `stages` [m/s], (..., n, stages); side B's are A's where it has none.

        launcher: fields may be arrays of shape (..., 1).
        """
        columns: dict[int, Floats] = {}
        for wheels in self._by_reading(side if self._has(side) else 0):
            chosen = [wheel for wheel in wheels if wheel.stage in stages]
            if not chosen:
                continue
            values = np.stack([wheel.values for wheel in chosen], axis=-1)
            indices = tuple(wheel.stage for wheel in chosen)
            found = chosen[0].reading.surface_speed(launcher, indices, values, self.supply)
            for place, index in enumerate(indices):
                known = columns.get(index)
                here = found[..., place]
                columns[index] = here if known is None else np.where(np.isnan(known), here, known)
        if side == 1:
            own = self.surface_speed(launcher, stages, 0)
            sides = [(columns.get(k, own[..., i]), own[..., i]) for i, k in enumerate(stages)]
            return np.stack(np.broadcast_arrays(*(np.where(np.isnan(b), a, b) for b, a in sides)), axis=-1)
        return np.stack(np.broadcast_arrays(*(columns[k] for k in stages)), axis=-1)

    @property
    def splits(self) -> bool:
        """Whether any throw has its own speeds of side B."""
        return self._has(1)

    def _has(self, side: int) -> bool:
        return any(wheel.side == side and not np.isnan(wheel.values).all() for wheel in self.wheels)

    def _by_reading(self, side: int) -> list[list[Wheels]]:
        kinds = list(dict.fromkeys(wheel.reading for wheel in self.wheels if wheel.side == side))
        return [[wheel for wheel in self.wheels if wheel.side == side and wheel.reading is kind] for kind in kinds]


def clock(throws: Throws) -> tuple[str, Floats]:
    """Return "time" and times [s] where every throw has one, else "order" and the numbers of the throws.

    Numbers that occur twice, and times that start anew with a build, do not tell the order of all throws: then it is
    that of the rows.
    """
    if not np.isnan(throws.time).any() and not _starts_anew(throws):
        return "time", throws.time
    return "order", throws.order if _distinct(throws) else np.argsort(np.argsort(throws.line)).astype(np.float64)


def passed_over(throws: Throws) -> str:
    """Return what the table has but does not tell the order, "numbers" or "times"; "" for nothing."""
    if not np.isnan(throws.time).any() and _starts_anew(throws):
        return "times"
    return "numbers" if clock(throws)[0] == "order" and throws.numbered and not _distinct(throws) else ""


def moments(throws: Throws) -> Floats | None:
    """Return when in the session each throw was made, from −1, the first, to 0, the last, (n,).

    None where it is not known: rows that are sorted, without numbers or times, may have been put so afterwards.
    """
    by, when = clock(throws)
    span = float(np.ptp(when)) if when.size else 0.0
    if span == 0 or (by == "order" and not (throws.numbered and _distinct(throws)) and _sorted(throws)):
        return None
    return np.asarray((when - when.max()) / span)


def _distinct(throws: Throws) -> bool:
    """Whether no two throws have the same number."""
    return np.unique(throws.order).size == len(throws)


def _starts_anew(throws: Throws) -> bool:
    """Whether times go on down the rows of every build and run backwards from one build to another."""
    rows = np.argsort(throws.line)
    time, build = throws.time[rows], throws.build[rows]
    return bool((np.diff(time) < 0).any()) and all((np.diff(time[build == name]) >= 0).all() for name in throws.builds)


def _sorted(throws: Throws) -> bool:
    """Whether the wheel speeds of every build, or exit speeds at a single setting, go one way down the rows."""
    rows = np.argsort(throws.line)
    builds = [rows[throws.build[rows] == build] for build in throws.builds]
    steps = [np.diff(wheel.values[here][~np.isnan(wheel.values[here])]) for wheel in throws.wheels for here in builds]
    if not any(step.any() for step in steps):
        steps = [np.diff(throws.exit_speed[here]) for here in builds]
    return all((step >= 0).all() or (step <= 0).all() for step in steps)

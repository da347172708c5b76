"""What the number in a wheel's column is, and the surface speed it stands for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.model.launcher import Launcher
from stager.physics.drive.motor import build_train
from stager.physics.drive.supply import settle


class Reading(Protocol):
    """One kind of column."""

    @property
    def asks_supply(self) -> bool:
        """Whether the supply's voltage matters."""
        ...

    def missing(self, launcher: Launcher, stage: int) -> str:
        """What the launcher lacks for such a column, "" where nothing."""
        ...

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Surface speeds [m/s] of wheels of `stages` for `values` (..., n, wheels), in SI; supply [V], (n,)."""
        ...


@dataclass(frozen=True, slots=True)
class Surface:
    """Indicated surface speed [m/s]."""

    asks_supply: bool = False

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Nothing is needed."""
        return ""

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """As it is, but for how far the tachometer is off [m/s]."""
        return _true(launcher, values)


@dataclass(frozen=True, slots=True)
class TurningRate:
    """Indicated rate of turning [rad/s]; surface speed counts at the radius at rest."""

    asks_supply: bool = False

    def missing(self, launcher: Launcher, stage: int) -> str:
        """Nothing is needed."""
        return ""

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """ωR [m/s]."""
        radii = [np.asarray(launcher.stage(k).wheel.radius, dtype=np.float64) for k in stages]
        return _true(launcher, values * np.stack(np.broadcast_arrays(*radii), axis=-1))


@dataclass(frozen=True, slots=True)
class Throttle:
    """Share of the supply's voltage [-]: the wheels settle where motors and windage balance, on one sagging supply."""

    asks_supply: bool = True

    def missing(self, launcher: Launcher, stage: int) -> str:
        """A drive and a supply."""
        if launcher.stage(stage).drive is None:
            return f"stage.drive, to turn a throttle into a speed of stage {stage + 1}"
        return "" if launcher.supply is not None else "[supply], to turn a throttle into a speed"

    def surface_speed(self, launcher: Launcher, stages: tuple[int, ...], values: Floats, supply: Floats) -> Floats:
        """Settled surface speeds [m/s]."""
        chosen = replace(launcher, stages=tuple(launcher.stage(k) for k in stages))
        train = build_train(chosen, len(stages))
        if train is None or launcher.supply is None:
            raise ValueError("a throttle needs a drive and a supply")
        volts = _volts(launcher.supply, supply)
        shape = np.broadcast_shapes(values.shape[:-1], np.shape(volts), train.radius.shape[:-1], train.pull.shape[:-1])
        throttle = np.broadcast_to(values, (*shape, len(stages)))
        turning = settle(train, throttle, replace(launcher.supply, voltage=np.broadcast_to(volts, shape)))
        return turning * train.radius


def _true(launcher: Launcher, values: Floats) -> Floats:
    """True wheel speeds for indicated ones (..., n, wheels); the launcher's fields have shape (..., 1)."""
    if launcher.measuring is None:
        return values
    return np.asarray(values * np.asarray(launcher.measuring.wheel_speed)[..., None])


def _volts(own: Supply, measured: Floats) -> Number:
    return np.where(np.isnan(measured), own.voltage, measured)


SURFACE, TURNING_RATE, THROTTLE = Surface(), TurningRate(), Throttle()

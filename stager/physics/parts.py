"""A stage with a wheel and a drive of its catalogue, and a crush of its range."""

from __future__ import annotations

from dataclasses import replace

from stager.model.arrays import Number
from stager.model.drive import Drive
from stager.model.stage import Stage
from stager.model.wheel import Wheel
from stager.physics.rotor import wheel_mass


def fitted(stage: Stage, wheel: int, drive: int, crush: Number | None = None) -> Stage:
    """Return `stage` with chosen parts and nothing left to choose.

    Cost and mass change by the differences between the new parts and the ones that they replace; a mass only where
    both are known.

    Parameters
    ----------
    stage : Stage
    wheel, drive : int
        Numbers in its wheel_options and drive_options, from 1; 0: the stage's own.
    crush : float or array, optional
        [m]; by default the stage's own.

    Raises
    ------
    IndexError
        Where there is no such option.
    """
    parts = (stage.wheel, *stage.wheel_options)[wheel], (stage.drive, *stage.drive_options)[drive]
    count = stage.layout.driven_wheels
    dearer = parts[0].cost - stage.wheel.cost + _cost(parts[1]) - _cost(stage.drive)
    heavier = _more(_mass(parts[0]), _mass(stage.wheel)) + _more(_drive_mass(parts[1]), _drive_mass(stage.drive))
    return replace(
        stage, wheel=parts[0], drive=parts[1], crush=stage.crush if crush is None else crush, crush_range=None,
        wheel_options=(), drive_options=(),
        cost=None if stage.cost is None else stage.cost + count * dearer,
        mass=None if stage.mass is None else stage.mass + count * heavier,
    )  # fmt: skip


def choose(stage: Stage, wheel: int | None, drive: int | None) -> Stage:
    """Return `stage` with the parts whose numbers are given; None: left to choose. Raises as `fitted`."""
    chosen = fitted(stage, wheel or 0, drive or 0)
    return replace(
        chosen,
        crush_range=stage.crush_range,
        wheel_options=stage.wheel_options if wheel is None else (),
        drive_options=stage.drive_options if drive is None else (),
    )


def _cost(drive: Drive | None) -> Number:
    return 0.0 if drive is None else drive.cost


def _mass(wheel: Wheel) -> Number | None:
    known = wheel.mass is not None or (wheel.material is not None and wheel.width is not None)
    return wheel_mass(wheel) if known else None


def _drive_mass(drive: Drive | None) -> Number | None:
    return None if drive is None else drive.mass


def _more(new: Number | None, old: Number | None) -> Number:
    return 0.0 if new is None or old is None else new - old

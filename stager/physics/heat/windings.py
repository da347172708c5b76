"""Temperatures of the windings of a launcher that is thrown at a rate, or only kept turning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Heat
from stager.model.launcher import Launcher
from stager.physics.air import SEA_LEVEL_TEMPERATURE
from stager.physics.drive.supply import Holding
from stager.physics.drive.train import Train
from stager.physics.heat.cooling import case_to_air
from stager.physics.heat.network import Loss, Network, after, steady
from stager.physics.rate.state import Settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Windings:
    """Motors whose thermal data are known, on the last axis: stage of each, its column in the train; network; loss
    while throwing, resting."""

    stage: tuple[int, ...]
    column: tuple[int, ...]
    network: Network
    loss: Loss
    resting: Loss

    def temperature(self, time: Number | None = None) -> Floats:
        """Winding temperatures [K], shape (..., motors), after `time` [s] from cold, shape (...); None: after long."""
        if time is None:
            return steady(self.network, self.loss)[0]
        return after(self.network, self.loss, np.asarray(time)[..., None])


def holding_loss(train: Train, holding: Holding) -> Loss:
    """Loss of each motor [W] while its wheel is only held at its speed, shape (..., wheels)."""
    return Loss(
        copper=train.resistance * holding.current**2,
        idle=train.pull * train.idle_current * holding.angular_speed,
    )


def throwing_loss(settled: Settled) -> Loss:
    """Mean loss of each motor [W] in the settled state, shape (..., wheels)."""
    rate = np.asarray(settled.rate)[..., None]
    return Loss(copper=settled.books.copper * rate, idle=settled.books.no_load * rate)


def windings(
    launcher: Launcher, train: Train, holding: Holding, settled: Settled | None, air: Number = SEA_LEVEL_TEMPERATURE
) -> Windings | None:
    """The windings of `train`, at the losses of `settled` (None: only held). None where no thermal data are known.

    air: temperature around [K].
    """
    heats = [_heat(launcher, stage) for stage in train.stage]
    known = [column for column, heat in enumerate(heats) if heat is not None]
    if not known:
        return None
    resting = _pick(holding_loss(train, holding), known)
    stages = [launcher.stage(train.stage[column]) for column in known]
    chosen = [heat for heat in heats if heat is not None]
    films = [
        case_to_air(heat, stage.wheel, holding.angular_speed[..., column])
        for heat, stage, column in zip(chosen, stages, known, strict=True)
    ]
    network = Network(
        winding_capacity=_row([heat.winding_capacity for heat in chosen]),
        case_capacity=_row([heat.case_capacity for heat in chosen]),
        winding_to_case=_row([heat.winding_to_case for heat in chosen]),
        case_to_air=_row(films), air=air,
    )  # fmt: skip
    return Windings(
        stage=tuple(train.stage[column] for column in known), column=tuple(known), network=network, resting=resting,
        loss=resting if settled is None else _pick(throwing_loss(settled), known),
    )  # fmt: skip


def _heat(launcher: Launcher, stage: int) -> Heat | None:
    drive = launcher.stage(stage).drive
    return None if drive is None else drive.heat


def _pick(loss: Loss, columns: list[int]) -> Loss:
    return Loss(copper=np.asarray(loss.copper)[..., columns], idle=np.asarray(loss.idle)[..., columns])


def _row(values: list[Number] | list[Floats]) -> Floats:
    return np.stack(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)), axis=-1)

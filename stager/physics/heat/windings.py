"""Temperatures of windings, from losses in winding and case to what throwing at a rate leads to.

Winding and case of a motor are two nodes, with air around:
C_w T_w' = P_w − (T_w − T_c)/R_wc,  C_c T_c' = (T_w − T_c)/R_wc − (T_c − T_air)/R_ca. The winding's loss rises with its
temperature as copper's resistance does: P_w = idle + copper·(1 + α(T_w − 20 °C)). Linear: all in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Heat
from stager.model.launcher import Launcher
from stager.physics.air import SEA_LEVEL_TEMPERATURE
from stager.physics.drive.motor import COPPER_COEFFICIENT, REFERENCE, Train
from stager.physics.drive.supply import Holding
from stager.physics.heat.cooling import case_to_air
from stager.physics.rate.state import Settled

RUNAWAY = 600.0
"""Exponent at which a winding that heats itself up is hot enough for any purpose [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """winding_capacity, case_capacity [J/K]; winding_to_case, case_to_air [K/W]; air temperature [K]. Shapes
    broadcast."""

    winding_capacity: Number
    case_capacity: Number
    winding_to_case: Number
    case_to_air: Number
    air: Number = SEA_LEVEL_TEMPERATURE


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Mean losses in the winding [W]: copper at 20 degC, and idle, which does not depend on temperature."""

    copper: Number
    idle: Number


def steady(network: Network, loss: Loss) -> tuple[Floats, Floats]:
    """Temperatures of winding and case [K] after long; inf where the loss outgrows the cooling as copper warms."""
    through = network.winding_to_case + network.case_to_air
    gain = COPPER_COEFFICIENT * loss.copper * through
    cold = loss.idle + loss.copper * (1 + COPPER_COEFFICIENT * (network.air - REFERENCE))
    with np.errstate(divide="ignore"):
        rise = np.where(gain < 1, cold * through / np.where(gain < 1, 1 - gain, 1.0), np.inf)
    return network.air + rise, network.air + rise * network.case_to_air / through


def after(network: Network, loss: Loss, time: Number, start: tuple[Number, Number] | None = None) -> Floats:
    """Winding temperature [K] after `time` [s] at a steady mean `loss`; start: winding and case [K] (None: air)."""
    first = (network.air, network.air) if start is None else start
    to_case = 1 / network.winding_to_case
    a = (COPPER_COEFFICIENT * loss.copper - to_case) / network.winding_capacity
    b = to_case / network.winding_capacity
    c = to_case / network.case_capacity
    d = -(to_case + 1 / network.case_to_air) / network.case_capacity
    cold = loss.idle + loss.copper * (1 + COPPER_COEFFICIENT * (network.air - REFERENCE))
    drive = cold / network.winding_capacity
    middle, spread = (a + d) / 2, np.sqrt(((a - d) / 2) ** 2 + b * c)
    fast = middle - spread
    slow = (a * d - b * c) / fast  # not middle + spread, which cancels
    winding, case = (value - network.air for value in first)
    speed = a * winding + b * case + drive
    return network.air + _response(winding, speed, -d * drive, fast, slow, time)


def _response(value: Number, speed: Number, push: Number, fast: Number, slow: Number, time: Number) -> Floats:
    """x(t) of x'' − (fast + slow)x' + fast·slow·x = push with x(0) = value, x'(0) = speed."""
    product = fast * slow
    settles = np.where(product != 0, push / np.where(product != 0, product, 1.0), 0.0)
    gap = value - settles
    quick = (speed - slow * gap) / (fast - slow)
    return np.asarray(settles + quick * np.exp(fast * time) + (gap - quick) * np.exp(np.minimum(slow * time, RUNAWAY)))


def time_to(network: Network, loss: Loss, limit: Number) -> Floats:
    """Time from cold until the winding has `limit` [K] at a steady mean `loss` [s]; inf where it does not get there."""
    top, _ = steady(network, loss)
    reached = top > limit
    low, high = np.full(np.shape(reached), -3.0), np.full(np.shape(reached), 8.0)
    for _ in range(60):
        middle = (low + high) / 2
        hot = after(network, loss, np.minimum(10.0**middle, 1e8)) >= limit
        low, high = np.where(hot, low, middle), np.where(hot, middle, high)
    return np.where(reached, 10.0**high, np.inf)


def throwing_share(network: Network, throwing: Loss, resting: Loss, limit: Number) -> Floats:
    """Greatest share of the time spent throwing [-] whose mean keeps the winding at `limit` [K] or below, after long.

    1 where throwing all the time does; 0 where resting alone does not.
    """
    warm = 1 + COPPER_COEFFICIENT * (limit - REFERENCE)
    allowed = (limit - network.air) / (network.winding_to_case + network.case_to_air)
    hot, cool = throwing.idle + throwing.copper * warm, resting.idle + resting.copper * warm
    share = (allowed - cool) / np.where(hot > cool, hot - cool, 1.0)
    return np.where(hot > cool, np.clip(share, 0.0, 1.0), np.where(allowed >= cool, 1.0, 0.0))


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
    """Return the loss of each motor [W] while its wheel is only held at its speed, shape (..., wheels)."""
    return Loss(
        copper=train.resistance * holding.current**2,
        idle=train.pull * train.idle_current * holding.angular_speed,
    )


def throwing_loss(settled: Settled) -> Loss:
    """Return the mean loss of each motor [W] in the settled state, shape (..., wheels)."""
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

"""Currents of all motors at given speeds, with the supply's sag among them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.physics.drive.supply import Holding
from stager.physics.drive.train import Train

ROUNDS = 40
CLOSE = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """What the controllers are told: throttle [-], shape (..., wheels); held: motor current of wheels that a governor
    holds where they are [A], for those where `holding` is true."""

    throttle: Floats
    holding: NDArray[np.bool_]
    held: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Motor currents [A] and the motors' terminal powers [W], (..., wheels); bus voltage [V], (..., 1)."""

    current: Floats
    power: Floats
    bus_voltage: Floats


def throttled(train: Train, holding: Holding) -> Command:
    """Controllers on their way to the speeds of `holding`: governed ones at full throttle, others at their setting."""
    throttle = np.where(train.governed, 1.0, np.minimum(holding.throttle, 1.0))
    return Command(throttle=throttle, holding=np.zeros(throttle.shape, bool), held=holding.current)


def flow(train: Train, command: Command, supply: Supply, back_emf: Floats, guess: Floats | None = None) -> Flow:
    """Currents at the motors' `back_emf` [V], shape (..., wheels).

    V = V₀ − R_s·P(V)/V with P = Σ I(E + RI) and I = (θV − E)/R between 0 and the controller's limit, which then turns
    the throttle down. Solved outright where no motor is at a bound, else by Newton's method within brackets;
    guess: bus voltage to start from [V], shape (..., 1).
    """
    free = _unbounded(train, command, supply, back_emf)
    return _bounded(train, command, supply, back_emf, guess) if free is None else free


def _unbounded(train: Train, command: Command, supply: Supply, back_emf: Floats) -> Flow | None:
    """The flow where all throttles act freely, V = (V₀ + R_s·Σ θE/R)/(1 + R_s·Σ θ²/R); None where one does not."""
    if command.holding.any():
        return None
    sag = np.asarray(supply.resistance, dtype=np.float64)[..., None]
    share = command.throttle / train.resistance
    stiffness = 1 + sag * _total(train, share * command.throttle)
    bus = (np.asarray(supply.voltage)[..., None] + sag * _total(train, share * back_emf)) / stiffness
    current = (command.throttle * bus - back_emf) / train.resistance
    if (current < 0).any() or (current > train.current_limit).any():
        return None
    return Flow(current=current, power=command.throttle * bus * current, bus_voltage=bus)


def _bounded(train: Train, command: Command, supply: Supply, back_emf: Floats, guess: Floats | None) -> Flow:
    source = np.asarray(supply.voltage, dtype=np.float64)[..., None]
    sag = np.asarray(supply.resistance, dtype=np.float64)[..., None]
    shape = np.broadcast_shapes(np.shape(back_emf)[:-1], source.shape[:-1], sag.shape[:-1])
    bus = np.broadcast_to(source if guess is None else guess, (*shape, 1))
    low, high = np.broadcast_to(source / 2, bus.shape), np.broadcast_to(source, bus.shape)
    for _ in range(ROUNDS):
        current, power, slope = _asked(train, command, back_emf, bus)
        if not sag.any():
            break
        drawn, steeper = _total(train, power), _total(train, slope)
        excess = bus - source + sag * drawn / bus
        if np.abs(excess).max(initial=0.0) <= CLOSE * source.max():
            break
        high, low = np.where(excess > 0, bus, high), np.where(excess > 0, low, bus)
        rising = 1 + sag * (steeper - drawn / bus) / bus
        fresh = bus - excess / np.where(rising > 0, rising, np.inf)
        fresh = np.where((fresh >= low) & (fresh <= high), fresh, (low + high) / 2)
        if np.array_equal(fresh, bus):
            break
        bus = fresh
    return Flow(current=current, power=power, bus_voltage=bus)


def _asked(train: Train, command: Command, back_emf: Floats, bus: Floats) -> tuple[Floats, Floats, Floats]:
    """Current [A], terminal power [W] and its slope by bus voltage [A] of each motor."""
    open_current = (command.throttle * bus - back_emf) / train.resistance
    current = np.minimum(np.maximum(open_current, 0.0), train.current_limit)
    free = current == open_current
    if command.holding.any():
        current = np.where(command.holding, command.held, current)
        free = free & ~command.holding
    power = current * (back_emf + train.resistance * current)
    slope = np.where(free, (back_emf + 2 * train.resistance * current) * command.throttle / train.resistance, 0.0)
    return current, power, slope


def _total(train: Train, values: Floats) -> Floats:
    return np.asarray((train.count * values).sum(axis=-1, keepdims=True))


def peak_draw(train: Train, throttle: Floats, supply: Supply) -> tuple[Number, Number]:
    """Greatest current [A] and power [W] from the supply while all wheels spin up from rest at `throttle` [-].

    As if every motor drew its most at once: a motor's power is greatest where its current leaves the controller's
    limit, θV·min(I_max, θV/R), for one without a limit at standstill. An upper bound, met by equal wheels.
    """
    source = np.asarray(supply.voltage, dtype=np.float64)
    bus = source
    for _ in range(ROUNDS):
        volts = throttle * bus[..., None]
        drawn = (train.count * throttle * np.minimum(train.current_limit, volts / train.resistance)).sum(axis=-1)
        free = volts / train.resistance < train.current_limit
        slope = (train.count * np.where(free, throttle**2 / train.resistance, 0.0)).sum(axis=-1)
        change = (bus - source + supply.resistance * drawn) / (1 + supply.resistance * slope)
        bus = np.maximum(bus - change, 0.0)
        if np.abs(change).max(initial=0.0) <= 1e-12 * source.max():
            break
    volts = throttle * bus[..., None]
    drawn = (train.count * throttle * np.minimum(train.current_limit, volts / train.resistance)).sum(axis=-1)
    return drawn, drawn * bus

"""What the supply gives to motors at most."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.physics.drive.train import Train

ROUNDS = 40


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

"""What drives, supply and windings go through: spin-up, throwing at the feed's rate, warming up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats
from stager.physics.drive.motor import Train, warm_factor
from stager.physics.drive.spinup import SpinUp, spin_up, spin_up_in_turn, time_to
from stager.physics.drive.supply import Holding, hold
from stager.physics.heat.windings import Windings, throwing_share
from stager.physics.heat.windings import time_to as warming_time
from stager.physics.layout import feed_rate
from stager.physics.rate import HighestRate, Settled, highest_rate

LOSS = 0.05
"""Share of exit speed that the highest rate may cost where the user does not say [-]."""
BACK = 0.005
"""Share of its set speed that a wheel which has recovered may lack [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What drives go through, without batch axes.

    together, in_turn: spin-up from rest; settled: at the feed's rate (None: it has none); recovery: time after which
    every wheel lacks at most BACK of its speed [s]; highest: rate at which `loss` of exit speed is lost [-]; feed_rate:
    greatest that the feed can hand over [1/s].
    """

    train: Train
    holding: Holding
    together: SpinUp
    in_turn: SpinUp
    settled: Settled | None
    recovery: float | None
    highest: HighestRate | None
    loss: float
    feed_rate: float
    warmth: Warmth | None

    @property
    def highest_rate(self) -> float | None:
        """Highest rate that feed and loss allow [1/s]; None where the loss is not known."""
        return None if self.highest is None else min(float(self.highest.rate), self.feed_rate)

    @property
    def feed_decides(self) -> bool:
        """Whether the feed, not the loss, ends the rate."""
        return self.highest is not None and float(self.highest.rate) >= self.feed_rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmth:
    """Windings, in the columns of `windings`: temperature after a session (or after long) and after long [K]; where a
    limit is set, the time until they have it [s] and the greatest share of the time spent throwing that keeps it [-];
    throttle that holds the set speeds with the windings' resistance after a session [-].
    """

    windings: Windings
    session: Floats
    steady: Floats
    reaches: Floats | None
    share: Floats | None
    throttle: Floats


def duty(point: OperatingPoint) -> Duty | None:
    """What the drives of `point` go through; None without drives or supply, or where the throw jams."""
    train, holding, supply = point.train, point.holding, point.launcher.supply
    if train is None or holding is None or supply is None or point.throw.jammed:
        return None
    asked = point.limit_values.settled_loss
    loss = LOSS if asked is None else asked
    settled = point.settled
    return Duty(
        train=train, holding=holding, together=spin_up(train, holding, supply),
        in_turn=spin_up_in_turn(train, holding, supply), settled=settled,
        recovery=None if settled is None else float(
            time_to(train, holding, supply, holding.angular_speed * (1 - settled.droop), BACK)
        ),
        highest=highest_rate(point.launcher, loss, *point.set_speeds, first=point.throw),
        loss=loss, feed_rate=float(feed_rate(point.launcher)), warmth=_warmth(point),
    )  # fmt: skip


def _warmth(point: OperatingPoint) -> Warmth | None:
    windings, limit = point.windings, point.limit_values.winding_temperature
    if windings is None:
        return None
    network, loss, session = windings.network, windings.loss, windings.temperature(point.launcher.feed.session)
    return Warmth(
        windings=windings, session=session, steady=windings.temperature(),
        reaches=None if limit is None else warming_time(network, loss, limit),
        share=None if limit is None else np.asarray(throwing_share(network, loss, windings.resting, limit)),
        throttle=_warm_throttle(point, windings, session),
    )  # fmt: skip


def _warm_throttle(point: OperatingPoint, windings: Windings, temperature: Floats) -> Floats:
    """Throttle [-] of the motors of `windings` at winding temperatures [K]; inf where one has run away."""
    train, holding, supply = point.train, point.holding, point.launcher.supply
    if train is None or holding is None or supply is None or not np.isfinite(temperature).all():
        return np.full(np.shape(temperature), np.inf)
    columns = list(windings.column)
    resistance = np.broadcast_to(train.resistance, (train.size,)).copy()
    resistance[columns] *= warm_factor(temperature)
    return hold(replace(train, resistance=resistance), holding.angular_speed, supply).throttle[..., columns]

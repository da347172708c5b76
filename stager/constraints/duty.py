"""Spin-up, recovery, highest rate and winding temperatures of an operating point, for reports."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats
from stager.physics.drive.motor import Drivetrain, warm_factor
from stager.physics.drive.spinup import SpinUp, spin_up, spin_up_in_turn, time_to
from stager.physics.drive.supply import Holding, hold
from stager.physics.heat import Windings, throwing_share, windings
from stager.physics.heat import time_to as warming_time
from stager.physics.layout import feed_rate
from stager.physics.rate import HighestRate, Settled, highest_rate
from stager.physics.rate import settled as settled_at

DEFAULT_LOSS = 0.05
"""Loss of exit speed that defines the highest rate where limits.settled_loss is not set [-]."""
HALVINGS = 12
"""Halvings of the interval of rates in which windings reach their limit."""
RECOVERED = 0.005
"""Share of its set speed that a recovered wheel may lack [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What the drives of an operating point without batch axes do.

    together, in_turn: spin-up from rest of all stages at once, and of one after the other
    settled: steady throwing at the feed's rate; None: the feed has no rate
    recovery: time from a throw until every wheel lacks at most RECOVERED of its speed [s]
    highest: rate at which the share `loss` of exit speed is lost [-]
    feed_rate: highest rate of the feed [1/s]
    heat_rate: highest rate, below the two others, at which windings keep limits.winding_temperature after a session
        [1/s], 0 where they never do; None: they keep it at the others, or no limit or no thermal data
    winding_duty: None where no thermal data are known
    """

    train: Drivetrain
    holding: Holding
    together: SpinUp
    in_turn: SpinUp
    settled: Settled | None
    recovery: float | None
    highest: HighestRate | None
    loss: float
    feed_rate: float
    heat_rate: float | None
    winding_duty: WindingDuty | None

    @property
    def highest_rate(self) -> float | None:
        """Highest rate within feed, loss and heat [1/s]; None where no loss was computed."""
        if self.highest is None:
            return None
        return min(float(self.highest.rate), self.feed_rate) if self.heat_rate is None else self.heat_rate

    @property
    def decides(self) -> str | None:
        """What limits the rate: "feed", "loss" or "heat"; None where no loss was computed."""
        if self.highest is None:
            return None
        return "heat" if self.heat_rate is not None else "feed" if self.highest.rate >= self.feed_rate else "loss"


@dataclass(frozen=True, slots=True, kw_only=True)
class WindingDuty:
    """Temperatures of the windings; arrays have the columns of `windings`.

    session: temperature after a session, or `steady` where its length is unknown [K]
    steady: final temperature [K]
    reaches: time until the temperature limit is reached [s]; None: no limit is set
    share: greatest share of the time spent throwing that keeps the limit [-]; None: no limit is set
    throttle: holds the set speeds with the windings' resistance after a session [-]
    """

    windings: Windings
    session: Floats
    steady: Floats
    reaches: Floats | None
    share: Floats | None
    throttle: Floats


def duty(point: OperatingPoint) -> Duty | None:
    """Return what the drives of `point` do; None without drives or supply, or where the throw jams."""
    train, holding, supply = point.train, point.holding, point.launcher.supply
    if train is None or holding is None or supply is None or point.throw.jammed:
        return None
    asked = point.limit_values.settled_loss
    loss = DEFAULT_LOSS if asked is None else asked
    settled = point.settled
    highest = highest_rate(point.launcher, loss, *point.set_speeds, first=point.throw)
    fed = float(feed_rate(point.launcher))
    return Duty(
        train=train, holding=holding, together=spin_up(train, holding, supply),
        in_turn=spin_up_in_turn(train, holding, supply), settled=settled,
        recovery=None if settled is None else float(
            time_to(train, holding, supply, holding.angular_speed * (1 - settled.droop), RECOVERED)
        ),
        highest=highest, loss=loss, feed_rate=fed, winding_duty=_winding_duty(point),
        heat_rate=None if highest is None else _heat_rate(point, min(float(highest.rate), fed)),
    )  # fmt: skip


def _heat_rate(point: OperatingPoint, most: float) -> float | None:
    """Return the highest rate below `most` at which windings keep their limit [1/s]; see `Duty.heat_rate`."""
    limit, session = point.limit_values.winding_temperature, point.launcher.feed.session
    if limit is None or most <= 0:
        return None

    def kept(rate: float) -> bool | None:
        found = settled_at(point.launcher, rate, *point.set_speeds, first=point.throw, options=point.options)
        assert point.train is not None
        assert point.holding is not None
        warm = windings(point.launcher, point.train, point.holding, found)
        return None if warm is None else bool((warm.temperature(session) <= limit).all())

    if kept(most) is not False:
        return None
    low, high = 0.0, most
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if kept(middle) else (low, middle)
    return low if low > most * 2.0 ** (1 - HALVINGS) else 0.0


def _winding_duty(point: OperatingPoint) -> WindingDuty | None:
    windings, limit = point.windings, point.limit_values.winding_temperature
    if windings is None:
        return None
    network, loss, session = windings.network, windings.loss, windings.temperature(point.launcher.feed.session)
    return WindingDuty(
        windings=windings, session=session, steady=windings.temperature(),
        reaches=None if limit is None else warming_time(network, loss, limit),
        share=None if limit is None else np.asarray(throwing_share(network, loss, windings.resting, limit)),
        throttle=_warm_throttle(point, windings, session),
    )  # fmt: skip


def _warm_throttle(point: OperatingPoint, windings: Windings, temperature: Floats) -> Floats:
    """Return the throttle that holds the set speeds at winding temperatures [K]; inf where one is infinite [-]."""
    train, holding, supply = point.train, point.holding, point.launcher.supply
    if train is None or holding is None or supply is None or not np.isfinite(temperature).all():
        return np.full(np.shape(temperature), np.inf)
    columns = list(windings.column)
    resistance = np.broadcast_to(train.resistance, (train.size,)).copy()
    resistance[columns] *= warm_factor(temperature)
    return hold(replace(train, resistance=resistance), holding.angular_speed, supply).throttle[..., columns]

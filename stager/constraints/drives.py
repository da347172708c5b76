"""Limits on drives, supply and heat, all stages together; and the duty of an operating point, for reports.

The duty is spin-up, recovery, highest rate and winding temperatures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stager.constraints.limit import (
    NO_LOAD_CURRENT,
    NOT_SETTLED,
    ROUNDING,
    STEP,
    Kind,
    Limit,
    OperatingPoint,
    any_stage,
    at_other_speeds,
    missing_drive,
    most_helpful,
    rising_with_no_load,
    with_other_drives,
    worst_stage,
)
from stager.model.arrays import Floats, Number
from stager.model.stage import Drive
from stager.physics.air import SEA_LEVEL_TEMPERATURE
from stager.physics.barrel import feed_rate
from stager.physics.heat import Windings, throwing_share, windings
from stager.physics.heat import time_to as warming_time
from stager.physics.motor import Drivetrain, Holding, hold, peak_draw, warm_factor
from stager.physics.rate import Settled, highest_rate
from stager.physics.rate import settled as settled_at
from stager.physics.transient import SpinUp, peak_in_turn, spin_up, spin_up_in_turn, spin_up_throttle, time_to


def _missing_rate(point: OperatingPoint) -> str | None:
    """Return the key of the feed's rate where it is unknown: throwing takes more than holding the wheels."""
    return "feed.rate" if point.launcher.feed.rate is None else None


def _greatest_throttle(point: OperatingPoint) -> Number | None:
    """Return the greatest share of the loaded supply's voltage that holds a wheel at its speed [-]."""
    return None if point.holding is None else np.asarray(point.holding.throttle.max(axis=-1, initial=0.0))


def _throttle_remedy(point: OperatingPoint) -> str:
    if point.holding is None or point.train is None:
        return ""
    return f"a slower wheel {1 + point.train.stage[worst_stage(point.holding.throttle)]}, or more volts"


def _peak_current(point: OperatingPoint) -> Number | None:
    """Return the greatest current from the supply while all wheels spin up together [A]."""
    return _peak_draw(point, 0)


def _peak_power(point: OperatingPoint) -> Number | None:
    """Return the greatest power from the supply while all wheels spin up together [W]."""
    return _peak_draw(point, 1)


def _peak_draw(point: OperatingPoint, which: int) -> Number | None:
    supply = point.launcher.supply
    if point.holding is None or point.train is None or supply is None:
        return None
    return peak_draw(point.train, spin_up_throttle(point.train, point.holding), supply)[which]


def _draw_remedy(point: OperatingPoint, which: int, unit: str, bound: Number | None) -> str:
    """Return the remedy of a peak current (0) or power (1): to start the stages in turn, where that is enough."""
    supply, drawn = point.launcher.supply, _peak_draw(point, which)
    if point.holding is None or point.train is None or supply is None or drawn is None or bound is None:
        return ""
    least = float(peak_in_turn(point.train, point.holding, supply)[which])
    if least < float(drawn) and least <= bound * (1 + ROUNDING):
        return f"start the stages one after the other: {float(f'{least:.3g}'):g} {unit}"
    bus = float(supply.voltage - supply.resistance * (_peak_draw(point, 0) or 0.0))

    def limited(drive: Drive) -> Drive:
        return replace(drive, current_limit=(1 - STEP) * np.minimum(drive.current_limit, bus / drive.resistance))

    changes = {
        "slower wheels": at_other_speeds(point, 1 - STEP),
        "controllers of a lower current limit": with_other_drives(point, limited),
    }
    return most_helpful(lambda one: (float(_peak_draw(one, which) or 0.0),), point, changes, 2)


def mean_power(point: OperatingPoint) -> Floats | None:
    """Return the mean power of the supply, throwing at the feed's rate or holding the wheels [W].

    None without drives or supply, or where throws do not settle or jam.
    """
    if point.steady is not None:
        return point.steady.average_power
    return None if point.holding is None or point.unsteady else np.asarray(point.holding.power)


def _average_power(point: OperatingPoint) -> Number | None:
    """Return the mean power from the supply at the feed's rate [W]; of holding the wheels where that is not known."""
    known = mean_power(point)
    return point.holding.power if known is None and point.holding is not None else known


def _average_power_remedy(point: OperatingPoint) -> str:
    if point.holding is None:
        return "slower wheels"
    held = float(point.holding.power)
    if point.steady is not None and float(point.steady.average_power) - held > held:
        return "fewer throws a second"
    changes = {"slower wheels": at_other_speeds(point, 1 - STEP)}
    helpful = most_helpful(lambda one: (float(_average_power(one) or 0.0),), point, changes)
    return helpful or "motors of less no-load current"


def _hottest_winding(point: OperatingPoint) -> Number | None:
    """Return the highest winding temperature after a session at the feed's rate [K].

    Of the motors whose thermal data are known, None where none are; final where the session's length is unknown.
    """
    if point.windings is None:
        return None
    return np.asarray(point.windings.temperature(point.launcher.feed.session).max(axis=-1))


def _missing_for_windings(point: OperatingPoint) -> str | None:
    lacking = any_stage(point, lambda stage: stage.drive is None or stage.drive.heat is None)
    return missing_drive(point) or ("stage.drive.heat" if lacking else _missing_rate(point))


def _heating(point: OperatingPoint) -> tuple[float, float]:
    """Return the highest winding temperature [K], and the greatest loss [W], which tells where that is infinite."""
    if point.windings is None:
        return np.inf, np.inf
    temperature, loss = point.windings.temperature(point.launcher.feed.session), point.windings.loss
    return float(np.max(temperature)), float(np.max(loss.copper + loss.idle))


def _winding_remedy(point: OperatingPoint) -> str:
    if point.windings is None:
        return ""
    hottest = point.windings.stage[worst_stage(point.windings.temperature(point.launcher.feed.session))]
    feed, less = point.launcher.feed, 1 - STEP
    changes = {
        f"a motor of less resistance in stage {1 + hottest}": with_other_drives(
            point, lambda drive: replace(drive, resistance=less * drive.resistance), hottest
        ),
        f"a motor of less no-load current in stage {1 + hottest}": with_other_drives(
            point, lambda drive: replace(drive, no_load_current=less * drive.no_load_current), hottest
        ),
        f"a slower wheel {1 + hottest}": at_other_speeds(point, less, hottest),
    }
    if feed.rate is not None:
        rarer = replace(point.launcher, feed=replace(feed, rate=less * feed.rate))
        changes["rests between throws"] = replace(point, launcher=rarer)
    return most_helpful(_heating, point, changes, 2)


def _settled_loss(point: OperatingPoint) -> Number | None:
    """Return the share of the first throw's exit speed that settled ones lack [-]; 1 where a settled throw jams."""
    found = point.settled
    return None if found is None else np.where(found.throw.jammed, 1.0, found.loss)


def _settled_loss_remedy(point: OperatingPoint) -> str:
    if point.settled is None or point.holding is None:
        return ""
    train, column = point.settled.cycle.train, worst_stage(point.settled.missing)
    stage, limit = 1 + train.stage[column], float(train.current_limit[..., column])
    held, bus = float(point.holding.current[column]), float(point.holding.bus_voltage)
    lacking = float(train.pull[..., column] * point.holding.angular_speed[column] * point.settled.missing[column])
    ungoverned = held + lacking / float(train.resistance[..., column])
    if not train.governed[..., column] and ungoverned < limit:
        return f"govern motor {stage}"
    full = ungoverned + (bus - float(point.holding.voltage[column])) / float(train.resistance[..., column])
    better = "more current for" if full > limit else "more volts for, or less resistance of,"
    return f"{better} motor {stage}, or fewer throws a second"


THROTTLE = rising_with_no_load(Limit(
    name="throttle", kind=Kind.STEADY, unit="-",
    value=_greatest_throttle,
    bound=lambda point: 1.0 if any_stage(point, lambda stage: stage.drive is not None) else None,
    missing=missing_drive,
    remedy=_throttle_remedy,
))  # fmt: skip
VOLTAGE = Limit(
    name="voltage", kind=Kind.DESIGN, unit="V",
    value=lambda point: None if point.launcher.supply is None else point.launcher.supply.voltage,
    bound=lambda point: point.limit_values.voltage,
    missing=lambda point: "supply" if point.launcher.supply is None else None,
    remedy=lambda point: "a supply of fewer volts with motors of more speed per volt",
)  # fmt: skip
PEAK_POWER = rising_with_no_load(Limit(
    name="peak_power", kind=Kind.STEADY, unit="W",
    value=_peak_power,
    bound=lambda point: point.limit_values.peak_power,
    missing=missing_drive,
    remedy=lambda point: _draw_remedy(point, 1, "W", point.limit_values.peak_power),
))  # fmt: skip
SUPPLY_CURRENT = rising_with_no_load(Limit(
    name="supply_current", kind=Kind.STEADY, unit="A", hard=True,
    value=_peak_current,
    bound=lambda point: point.limit_values.supply_current,
    missing=missing_drive,
    remedy=lambda point: _draw_remedy(point, 0, "A", point.limit_values.supply_current),
))  # fmt: skip
AVERAGE_POWER = rising_with_no_load(Limit(
    name="average_power", kind=Kind.STEADY, settles=True, unit="W",
    value=_average_power,
    bound=lambda point: point.limit_values.average_power,
    missing=lambda point: missing_drive(point) or _missing_rate(point),
    remedy=_average_power_remedy,
))  # fmt: skip
WINDING_TEMPERATURE = rising_with_no_load(Limit(
    name="winding_temperature", kind=Kind.STEADY, settles=True, unit="K", hard=True, origin=SEA_LEVEL_TEMPERATURE,
    value=_hottest_winding,
    bound=lambda point: point.limit_values.winding_temperature,
    missing=_missing_for_windings,
    remedy=_winding_remedy,
))  # fmt: skip
SETTLED_LOSS = rising_with_no_load(Limit(
    name="settled_loss", kind=Kind.STEADY, settles=True, unit="-", end=1.0,
    value=_settled_loss,
    bound=lambda point: point.limit_values.settled_loss,
    missing=lambda point: missing_drive(point) or _missing_rate(point),
    remedy=_settled_loss_remedy,
))  # fmt: skip


DEFAULT_LOSS = 0.05
"""Loss of exit speed that defines the highest rate where limits.settled_loss is not set [-]."""
HALVINGS = 12
"""Halvings of the interval of rates in which windings reach their limit."""
RECOVERED = 0.005
"""Share of its set speed that a recovered wheel may lack [-]."""
CERTAIN = 0.05
"""Relative change by an unknown input below which a value counts as known [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What the drives of an operating point without batch axes do.

    together, in_turn: spin-up from rest of all stages at once, and of one after the other
    settled: steady throwing at the feed's rate; None: the feed has no rate, or throws do not settle
    steady: the same; None too where throws at the rate jam
    recovery: time from a throw until every wheel lacks at most RECOVERED of its speed [s]
    highest: rate at which the share `loss` [-] of exit speed is lost [1/s]
    feed_rate: highest rate of the feed [1/s]
    heat_rate: highest rate, below the two others, at which windings keep limits.winding_temperature after a session
        [1/s], 0 where they never do; None: they keep it at the others, or no limit or no thermal data
    winding_duty: None where no thermal data are known, or throws at the rate do not settle or jam
    missing: NOT_SETTLED, or the key of an unknown input that changes `recovery`, `highest` or the windings' `reaches`
        and `share`; those that it changes are None
    """

    train: Drivetrain
    holding: Holding
    together: SpinUp
    in_turn: SpinUp
    settled: Settled | None
    steady: Settled | None
    recovery: float | None
    highest: Floats | None
    loss: float
    feed_rate: float
    heat_rate: float | None
    winding_duty: WindingDuty | None
    missing: str | None = None

    @property
    def highest_rate(self) -> float | None:
        """Highest rate within feed, loss and heat [1/s]; None where no loss was computed."""
        if self.highest is None:
            return None
        return min(float(self.highest), self.feed_rate) if self.heat_rate is None else self.heat_rate

    @property
    def decides(self) -> str | None:
        """What limits the rate: "feed", "loss" or "heat"; None where no loss was computed."""
        if self.highest is None:
            return None
        return "heat" if self.heat_rate is not None else "feed" if self.highest >= self.feed_rate else "loss"


@dataclass(frozen=True, slots=True, kw_only=True)
class WindingDuty:
    """Temperatures of the windings; arrays have the columns of `windings`.

    session: temperature after a session, or `steady` where its length is unknown [K]
    steady: final temperature [K]
    reaches: time until the temperature limit is reached [s]; None: no limit is set, or not known
    share: greatest share of the time spent throwing that keeps the limit [-]; None: no limit is set, or not known
    throttle: holds the set speeds with the windings' resistance after a session [-]
    """

    windings: Windings
    session: Floats
    steady: Floats
    reaches: Floats | None
    share: Floats | None
    throttle: Floats


def duty(point: OperatingPoint) -> Duty | None:
    """Return what the drives of `point` do; None without drives or supply, or where the throw jams.

    An unknown no-load current is taken as 0. Recovery, highest rate and rests of the windings are left out where the
    greatest that is assumed changes them, as a limit on them is not judged then.
    """
    found, worse = _duty(point), point.most_idling
    return found if found is None or worse is None else _without_unknown(found, _duty(worse))


def _without_unknown(found: Duty, worse: Duty | None) -> Duty:
    """Return `found` without what an unknown no-load current changes; the rest is that of `worse`.

    worse: with the greatest no-load current that is assumed; None where no duty was computed.
    """
    told = worse if worse is not None and bool(worse.holding.reached) else None

    def known(value: Callable[[Duty], Number | None]) -> bool:
        one, other = value(found), None if told is None else value(told)
        if one is None or other is None:
            return one is other
        return bool(np.allclose(one, other, rtol=CERTAIN, atol=0.0))

    def of_windings(name: str) -> Callable[[Duty], Number | None]:
        return lambda duty: None if duty.winding_duty is None else getattr(duty.winding_duty, name)

    recovers, rate = known(lambda duty: duty.recovery), known(lambda duty: duty.highest_rate)
    reaches, share = known(of_windings("reaches")), known(of_windings("share"))
    warm, warmer = found.winding_duty, None if told is None else told.winding_duty
    return replace(
        found, missing=found.missing if recovers and rate and reaches and share else NO_LOAD_CURRENT,
        recovery=told.recovery if told and recovers else None, highest=told.highest if told and rate else None,
        heat_rate=told.heat_rate if told and rate else None,
        winding_duty=None if warm is None else replace(
            warm, reaches=warmer.reaches if warmer and reaches else None,
            share=warmer.share if warmer and share else None,
        ),
    )  # fmt: skip


def _duty(point: OperatingPoint) -> Duty | None:
    """Return what the drives of `point` do, with an unknown no-load current taken as 0; None as for `duty`."""
    train, holding, supply = point.train, point.holding, point.launcher.supply
    if train is None or holding is None or supply is None or point.throw.jammed:
        return None
    asked = point.limit_values.settled_loss
    loss = DEFAULT_LOSS if asked is None else asked
    steady = point.steady
    highest = highest_rate(point.launcher, loss, *point.set_speeds, first=point.throw)
    fed = float(feed_rate(point.launcher))
    return Duty(
        train=train, holding=holding, together=spin_up(train, holding, supply),
        in_turn=spin_up_in_turn(train, holding, supply), settled=point.settled, steady=steady,
        recovery=None if steady is None else float(
            time_to(train, holding, supply, holding.angular_speed * (1 - steady.droop), RECOVERED)
        ),
        highest=highest, loss=loss, feed_rate=fed, winding_duty=None if point.unsteady else _winding_duty(point),
        heat_rate=None if highest is None else _heat_rate(point, min(float(highest), fed)),
        missing=NOT_SETTLED if point.unsettled else None,
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

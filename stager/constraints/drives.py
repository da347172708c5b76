"""Limits on drives, supply and heat, all stages together."""

from __future__ import annotations

import numpy as np

from stager.constraints.limit import NO_LOAD, Kind, Limit, any_stage, missing_drive, worst_stage
from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Number
from stager.physics.drive.spinup import peak_in_turn, spin_up_throttle
from stager.physics.drive.supply import peak_draw


def _missing_rate(point: OperatingPoint) -> str | None:
    """Return the key of the feed's rate where it is unknown: throwing takes more than holding the wheels."""
    return "feed.rate" if point.launcher.feed.rate is None else None


def _missing_no_load(point: OperatingPoint) -> str | None:
    """Return the key of a no-load current that is unknown: most of a motor's current where little is thrown."""
    unknown = any_stage(point, lambda stage: stage.drive is not None and not stage.drive.no_load_known)
    return "stage.drive.no_load_current" if unknown else None


def _missing_no_load_near(point: OperatingPoint, value: Number | None, bound: float | None) -> str | None:
    """Return the same key where a value is so near its bound that the no-load current may decide."""
    near = value is not None and bound is not None and float(np.max(value)) > (1 - NO_LOAD) * bound
    return _missing_no_load(point) if near else None


def _greatest_throttle(point: OperatingPoint) -> Number | None:
    """Return the greatest share of the loaded supply's voltage that holds a wheel at its speed [-]."""
    return None if point.holding is None else np.asarray(point.holding.throttle.max(axis=-1, initial=0.0))


def _missing_for_throttle(point: OperatingPoint) -> str | None:
    value = _greatest_throttle(point)
    return missing_drive(point) or _missing_no_load_near(point, value, 1.0)


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


def _start_in_turn(point: OperatingPoint, which: int, unit: str) -> str:
    """Return the remedy of a peak current (0) or power (1): what it is with the stages started one after the other."""
    supply = point.launcher.supply
    if point.holding is None or point.train is None or supply is None:
        return ""
    least = float(peak_in_turn(point.train, point.holding, supply)[which])
    return f"start the stages one after the other: {least:.3g} {unit}"


def _average_power(point: OperatingPoint) -> Number | None:
    """Return the mean power from the supply at the feed's rate [W]; of holding the wheels where it has no rate."""
    if point.settled is not None:
        return point.settled.average_power
    return None if point.holding is None else point.holding.power


def _average_power_remedy(point: OperatingPoint) -> str:
    if point.settled is None or point.holding is None:
        return "smaller or slower wheels"
    throwing = float(point.settled.average_power - point.holding.power)
    return "fewer throws a second" if throwing > float(point.holding.power) else "smaller or slower wheels"


def _hottest_winding(point: OperatingPoint) -> Number | None:
    """Return the highest winding temperature after a session at the feed's rate [K].

    The final temperature where the session's length is unknown; None where a motor's thermal data are unknown.
    """
    if point.windings is None or set(point.windings.stage) < set(range(point.count)):
        return None
    return np.asarray(point.windings.temperature(point.launcher.feed.session).max(axis=-1))


def _missing_for_windings(point: OperatingPoint) -> str | None:
    lacking = any_stage(point, lambda stage: stage.drive is None or stage.drive.heat is None)
    return missing_drive(point) or ("stage.drive.heat" if lacking else _missing_rate(point) or _missing_no_load(point))


def _winding_remedy(point: OperatingPoint) -> str:
    if point.windings is None:
        return ""
    hottest = point.windings.stage[worst_stage(point.windings.temperature(point.launcher.feed.session))]
    return f"a motor of less resistance in stage {1 + hottest}, or rests between throws"


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


THROTTLE = Limit(
    name="throttle", kind=Kind.STEADY, unit="-",
    value=_greatest_throttle,
    bound=lambda point: 1.0 if any_stage(point, lambda stage: stage.drive is not None) else None,
    missing=_missing_for_throttle,
    remedy=_throttle_remedy,
)  # fmt: skip
VOLTAGE = Limit(
    name="voltage", kind=Kind.DESIGN, unit="V",
    value=lambda point: None if point.launcher.supply is None else point.launcher.supply.voltage,
    bound=lambda point: point.limit_values.voltage,
    missing=lambda point: "supply" if point.launcher.supply is None else None,
    remedy=lambda point: "a supply of fewer volts with motors of more speed per volt",
)  # fmt: skip
PEAK_POWER = Limit(
    name="peak_power", kind=Kind.STEADY, unit="W",
    value=_peak_power,
    bound=lambda point: point.limit_values.peak_power,
    missing=lambda point: (
        missing_drive(point) or _missing_no_load_near(point, _peak_power(point), point.limit_values.peak_power)
    ),
    remedy=lambda point: _start_in_turn(point, 1, "W"),
)  # fmt: skip
SUPPLY_CURRENT = Limit(
    name="supply_current", kind=Kind.STEADY, unit="A", hard=True,
    value=_peak_current,
    bound=lambda point: point.limit_values.supply_current,
    missing=lambda point: (
        missing_drive(point) or _missing_no_load_near(point, _peak_current(point), point.limit_values.supply_current)
    ),
    remedy=lambda point: _start_in_turn(point, 0, "A"),
)  # fmt: skip
AVERAGE_POWER = Limit(
    name="average_power", kind=Kind.STEADY, unit="W",
    value=_average_power,
    bound=lambda point: point.limit_values.average_power,
    missing=lambda point: missing_drive(point) or _missing_rate(point) or _missing_no_load(point),
    remedy=_average_power_remedy,
)  # fmt: skip
WINDING_TEMPERATURE = Limit(
    name="winding_temperature", kind=Kind.STEADY, unit="K", hard=True,
    value=_hottest_winding,
    bound=lambda point: point.limit_values.winding_temperature,
    missing=_missing_for_windings,
    remedy=_winding_remedy,
)  # fmt: skip
SETTLED_LOSS = Limit(
    name="settled_loss", kind=Kind.STEADY, unit="-",
    value=_settled_loss,
    bound=lambda point: point.limit_values.settled_loss,
    missing=lambda point: missing_drive(point) or _missing_rate(point),
    remedy=_settled_loss_remedy,
)  # fmt: skip

"""Limits on drives, supply and heat, all stages together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.limit import Kind
from stager.constraints.missing import NO_LOAD, any_stage, without_drive
from stager.constraints.operating_point import OperatingPoint
from stager.constraints.wheels import worst
from stager.model.arrays import Number
from stager.physics.drive.spinup import peak_in_turn, rushing
from stager.physics.drive.supply import peak_draw


@dataclass(frozen=True, slots=True)
class Throttle:
    """Share of the sagging supply's voltage that holds the wheels at their speeds, the greatest over the motors."""

    name: str = "throttle"
    unit: str = "-"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[-]."""
        return None if point.holding is None else np.asarray(point.holding.throttle.max(axis=-1, initial=0.0))

    def bound(self, point: OperatingPoint) -> Number | None:
        """Full throttle; None where no stage has a drive."""
        return 1.0 if any_stage(point, lambda stage: stage.drive is not None) else None

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        lacking = without_drive(point)
        if lacking or point.holding is None or float(point.holding.throttle.max(initial=0.0)) <= 1 - NO_LOAD:
            return lacking
        return _without_no_load(point)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        if point.holding is None or point.train is None:
            return ""
        return f"a slower wheel {1 + point.train.stage[worst(point.holding.throttle)]}, or more volts"


@dataclass(frozen=True, slots=True)
class Voltage:
    """Open voltage of the supply; without a supply the volts that the fastest motor needs are not known."""

    name: str = "voltage"
    unit: str = "V"
    floor: bool = False
    kind: Kind = Kind.DESIGN
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[V]."""
        return None if point.launcher.supply is None else point.launcher.supply.voltage

    def bound(self, point: OperatingPoint) -> Number | None:
        """[V]."""
        return point.limit_values.voltage

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return "supply" if point.launcher.supply is None else None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return "a supply of fewer volts with motors of more speed per volt"


@dataclass(frozen=True, slots=True)
class PeakPower:
    """Most that the supply delivers, all wheels spinning up together."""

    name: str = "peak_power"
    unit: str = "W"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[W]."""
        return _peak(point, 1)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[W]."""
        return point.limit_values.peak_power

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return without_drive(point) or _near_without_no_load(point, self.value(point), point.limit_values.peak_power)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return _one_by_one(point, 1, "W")


@dataclass(frozen=True, slots=True)
class SupplyCurrent:
    """Most current that the supply gives, all wheels spinning up together."""

    name: str = "supply_current"
    unit: str = "A"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[A]."""
        return _peak(point, 0)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[A]."""
        return point.limit_values.supply_current

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return without_drive(point) or _near_without_no_load(
            point, self.value(point), point.limit_values.supply_current
        )

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return _one_by_one(point, 0, "A")


@dataclass(frozen=True, slots=True)
class AveragePower:
    """What the supply delivers in the mean: settled at the feed's rate, or holding the wheels where it has none."""

    name: str = "average_power"
    unit: str = "W"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[W]."""
        if point.settled is not None:
            return point.settled.average_power
        return None if point.holding is None else point.holding.power

    def bound(self, point: OperatingPoint) -> Number | None:
        """[W]."""
        return point.limit_values.average_power

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return without_drive(point) or _without_rate(point) or _without_no_load(point)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        if point.settled is None or point.holding is None:
            return "smaller or slower wheels"
        throwing = float(point.settled.average_power - point.holding.power)
        return "fewer throws a second" if throwing > float(point.holding.power) else "smaller or slower wheels"


@dataclass(frozen=True, slots=True)
class WindingTemperature:
    """Hottest winding after a session at the feed's rate, or after long where no session's length is given."""

    name: str = "winding_temperature"
    unit: str = "K"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[K]; None where a motor's thermal data are not known."""
        if point.windings is None or set(point.windings.stage) < set(range(point.count)):
            return None
        return np.asarray(point.windings.temperature(point.launcher.feed.session).max(axis=-1))

    def bound(self, point: OperatingPoint) -> Number | None:
        """[K]."""
        return point.limit_values.winding_temperature

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        lacking = any_stage(point, lambda stage: stage.drive is None or stage.drive.heat is None)
        return without_drive(point) or (
            "stage.drive.heat" if lacking else _without_rate(point) or _without_no_load(point)
        )

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        if point.windings is None:
            return ""
        hottest = point.windings.stage[worst(point.windings.temperature(point.launcher.feed.session))]
        return f"a motor of less resistance in stage {1 + hottest}, or rests between throws"


@dataclass(frozen=True, slots=True)
class SettledLoss:
    """Share of exit speed lost between the first throw and the settled ones at the feed's rate."""

    name: str = "settled_loss"
    unit: str = "-"
    floor: bool = False
    kind: Kind = Kind.STEADY
    hard: bool = False

    def value(self, point: OperatingPoint) -> Number | None:
        """[-]; all of it where a settled throw jams."""
        found = point.settled
        return None if found is None else np.where(found.throw.jammed, 1.0, found.loss)

    def bound(self, point: OperatingPoint) -> Number | None:
        """[-]."""
        return point.limit_values.settled_loss

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return without_drive(point) or _without_rate(point)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        if point.settled is None:
            return ""
        column = worst(point.settled.missing)
        stage = 1 + point.settled.rhythm.train.stage[column]
        governed = bool(point.settled.rhythm.train.governed[column])
        return f"a heavier wheel {stage}, or fewer throws a second" if governed else f"govern motor {stage}"


def _without_rate(point: OperatingPoint) -> str | None:
    """Holding the wheels is the least of what throwing takes: without a rate more is not known."""
    return "feed.rate" if point.launcher.feed.rate is None else None


def _without_no_load(point: OperatingPoint) -> str | None:
    """What a motor takes running free, at every speed, is most of what it takes where little is thrown."""
    unknown = any_stage(point, lambda stage: stage.drive is not None and not stage.drive.no_load_known)
    return "stage.drive.no_load_current" if unknown else None


def _near_without_no_load(point: OperatingPoint, value: Number | None, bound: float | None) -> str | None:
    """Likewise where a value is so near its bound that it may decide."""
    near = value is not None and bound is not None and float(np.max(value)) > (1 - NO_LOAD) * bound
    return _without_no_load(point) if near else None


def _peak(point: OperatingPoint, which: int) -> Number | None:
    """Peak current (0) [A] or power (1) [W]."""
    supply = point.launcher.supply
    if point.holding is None or point.train is None or supply is None:
        return None
    return peak_draw(point.train, rushing(point.train, point.holding), supply)[which]


def _one_by_one(point: OperatingPoint, which: int, unit: str) -> str:
    supply = point.launcher.supply
    if point.holding is None or point.train is None or supply is None:
        return ""
    least = float(peak_in_turn(point.train, point.holding, supply)[which])
    return f"start the stages one after the other: {least:.3g} {unit}"

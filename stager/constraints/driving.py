"""Limits on drives, supply and heat, all stages together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.constraints.design import Design
from stager.constraints.wheels import worst
from stager.model.arrays import Number
from stager.physics.drive.bus import peak_draw
from stager.physics.drive.spinup import peak_in_turn, rushing


@dataclass(frozen=True, slots=True)
class Throttle:
    """Share of the sagging supply's voltage that holds the wheels at their speeds, the greatest over the motors."""

    name: str = "throttle"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[-]."""
        return None if design.holding is None else np.asarray(design.holding.throttle.max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """Full throttle; None where a stage has no drive or there is no supply."""
        return None if design.holding is None else 1.0

    def remedy(self, design: Design) -> str:
        """See Limit."""
        if design.holding is None or design.train is None:
            return ""
        return f"a slower wheel {1 + design.train.stage[worst(design.holding.throttle)]}, or more volts"


@dataclass(frozen=True, slots=True)
class Voltage:
    """Open voltage of the supply; without a supply the volts that the fastest motor needs are not known."""

    name: str = "voltage"
    unit: str = "V"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[V]."""
        return None if design.launcher.supply is None else design.launcher.supply.voltage

    def allowed(self, design: Design) -> Number | None:
        """[V]."""
        return design.allowances.voltage

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return "a supply of fewer volts with motors of more speed per volt"


@dataclass(frozen=True, slots=True)
class PeakPower:
    """Most that the supply delivers, all wheels spinning up together."""

    name: str = "peak_power"
    unit: str = "W"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[W]."""
        return _peak(design, 1)

    def allowed(self, design: Design) -> Number | None:
        """[W]."""
        return design.allowances.peak_power

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return _one_by_one(design, 1, "W")


@dataclass(frozen=True, slots=True)
class SupplyCurrent:
    """Most current that the supply gives, all wheels spinning up together."""

    name: str = "supply_current"
    unit: str = "A"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[A]."""
        return _peak(design, 0)

    def allowed(self, design: Design) -> Number | None:
        """[A]."""
        return design.allowances.supply_current

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return _one_by_one(design, 0, "A")


@dataclass(frozen=True, slots=True)
class AveragePower:
    """What the supply delivers in the mean: settled at the feed's rate, or holding the wheels where it has none."""

    name: str = "average_power"
    unit: str = "W"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[W]."""
        if design.settled is not None:
            return design.settled.average_power
        return None if design.holding is None else design.holding.power

    def allowed(self, design: Design) -> Number | None:
        """[W]."""
        return design.allowances.average_power

    def remedy(self, design: Design) -> str:
        """See Limit."""
        if design.settled is None or design.holding is None:
            return "smaller or slower wheels"
        throwing = float(design.settled.average_power - design.holding.power)
        return "fewer throws a second" if throwing > float(design.holding.power) else "smaller or slower wheels"


@dataclass(frozen=True, slots=True)
class WindingTemperature:
    """Hottest winding after a session at the feed's rate, or after long where no session's length is given."""

    name: str = "winding_temperature"
    unit: str = "K"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[K]; None where a motor's thermal data are not known."""
        if design.windings is None or set(design.windings.stage) < set(range(design.count)):
            return None
        return np.asarray(design.windings.temperature(design.launcher.feed.session).max(axis=-1))

    def allowed(self, design: Design) -> Number | None:
        """[K]."""
        return design.allowances.winding_temperature

    def remedy(self, design: Design) -> str:
        """See Limit."""
        if design.windings is None:
            return ""
        hottest = design.windings.stage[worst(design.windings.temperature(design.launcher.feed.session))]
        return f"a motor of less resistance in stage {1 + hottest}, or rests between throws"


@dataclass(frozen=True, slots=True)
class SettledLoss:
    """Share of exit speed lost between the first throw and the settled ones at the feed's rate."""

    name: str = "settled_loss"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[-]; all of it where a settled throw jams."""
        found = design.settled
        return None if found is None else np.where(found.throw.jammed, 1.0, found.loss)

    def allowed(self, design: Design) -> Number | None:
        """[-]."""
        return design.allowances.settled_loss

    def remedy(self, design: Design) -> str:
        """See Limit."""
        if design.settled is None:
            return ""
        column = worst(design.settled.missing)
        stage = 1 + design.settled.rhythm.train.stage[column]
        governed = bool(design.settled.rhythm.train.governed[column])
        return f"a heavier wheel {stage}, or fewer throws a second" if governed else f"govern motor {stage}"


def _peak(design: Design, which: int) -> Number | None:
    """Peak current (0) [A] or power (1) [W]."""
    supply = design.launcher.supply
    if design.holding is None or design.train is None or supply is None:
        return None
    return peak_draw(design.train, rushing(design.train, design.holding), supply)[which]


def _one_by_one(design: Design, which: int, unit: str) -> str:
    supply = design.launcher.supply
    if design.holding is None or design.train is None or supply is None:
        return ""
    least = float(peak_in_turn(design.train, design.holding, supply)[which])
    return f"start the stages one after the other: {least:.3g} {unit}"

"""Limits on how fast single wheels turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.constraints.limit import AllKnown, Kind
from stager.constraints.missing import NO_LOAD, any_stage
from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.stage import Stage
from stager.physics.mechanics import peak_grip, peak_normal
from stager.physics.rotor import allowable_speed, rim_safety, unknown_burst, unknown_strength
from stager.physics.speed_limits import burst_ceiling, motor_ceiling, reach_ceiling, tyre_ceiling
from stager.physics.tyre import explain, turning_hold, unknown_retention, unknown_turning_hold

Ceiling = Callable[[Launcher, Stage], Number]
Help = Callable[[OperatingPoint, int, float], str]


@dataclass(frozen=True, slots=True)
class WheelSpeed(AllKnown):
    """The fastest wheel's surface speed, by the user's limit."""

    name: str = "wheel_speed"
    unit: str = "m/s"
    floor: bool = False
    kind: Kind = Kind.WHEEL
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """[m/s]."""
        return np.asarray(point.fastest.max(axis=-1, initial=0.0))

    def bound(self, point: OperatingPoint) -> Number | None:
        """[m/s]."""
        return point.limit_values.wheel_speed

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(point.fastest)}"


@dataclass(frozen=True, slots=True)
class SpeedShare:
    """Wheel speed as a share of what a part stands, the greatest over the stages.

    ceiling: speed that the part of a stage does not stand for certain [m/s], inf where that is not known; applies:
    whether a stage has the part; lacks: key without which it is not known that the part stands a speed [m/s].
    """

    name: str
    ceiling: Ceiling
    help: Help
    applies: Callable[[Stage], bool]
    lacks: Callable[[Launcher, Stage, float], str | None]
    unit: str = "-"
    floor: bool = False
    kind: Kind = Kind.WHEEL
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """Greatest share [-]; None where none is known."""
        known = np.isfinite(self._ceilings(point)).any()
        return np.asarray(self._shares(point).max(axis=-1, initial=0.0)) if known else None

    def bound(self, point: OperatingPoint) -> Number | None:
        """1 where any stage has the part."""
        return 1.0 if any_stage(point, self.applies) else None

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        for k in range(point.count):
            stage = point.launcher.stage(k)
            if self.applies(stage) and (key := self.lacks(point.launcher, stage, float(point.fastest[k]))):
                return key
        return None

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        ceilings = np.broadcast_to(self._ceilings(point), point.fastest.shape)
        stage = worst(self._shares(point))
        return self.help(point, stage, float(ceilings[stage]))

    def _shares(self, point: OperatingPoint) -> Floats:
        """Wheel speed by what the part stands, (..., stages); inf where it cannot turn at all."""
        ceilings = self._ceilings(point)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(point.fastest > 0, point.fastest / ceilings, 0.0))

    def _ceilings(self, point: OperatingPoint) -> Floats:
        return stacked([self.ceiling(point.launcher, point.launcher.stage(k)) for k in range(point.count)])


@dataclass(frozen=True, slots=True)
class RimSafety:
    """Strength of the hub by its greatest stress, the least over the stages."""

    name: str = "rim_safety"
    unit: str = "-"
    floor: bool = True
    kind: Kind = Kind.WHEEL
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """Least factor [-]; None where no hub's strength is known."""
        least = self._factors(point).min(axis=-1, initial=np.inf)
        return None if np.isinf(least).all() else least

    def bound(self, point: OperatingPoint) -> Number | None:
        """[-]."""
        return point.limit_values.rim_safety

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        wheels = [point.launcher.stage(k).wheel for k in range(point.count)]
        return next((key for wheel in wheels if (key := unknown_strength(wheel))), None)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        stage = worst(-self._factors(point))
        wheel = point.launcher.stage(stage).wheel
        most = float(allowable_speed(wheel, point.limit_values.rim_safety or 1.0))
        return f"wheel {1 + stage} at {most:.3g} m/s or less, or of a lighter, stronger material"

    def _factors(self, point: OperatingPoint) -> Floats:
        wheels = [point.launcher.stage(k).wheel for k in range(point.count)]
        return stacked([rim_safety(wheel, point.fastest[..., k]) for k, wheel in enumerate(wheels)])


@dataclass(frozen=True, slots=True)
class TyreTurning:
    """Peak grip as a share of what keeps a tyre from turning on its hub, the greatest over the stages."""

    name: str = "tyre_turning"
    unit: str = "-"
    floor: bool = False
    kind: Kind = Kind.WHEEL
    hard: bool = True

    def value(self, point: OperatingPoint) -> Number | None:
        """Greatest share [-]; None where no tyre's hold is known."""
        shares = self._shares(point)
        return np.asarray(shares.max(axis=-1, initial=0.0)) if (shares > 0).any() else None

    def bound(self, point: OperatingPoint) -> Number | None:
        """1 where any wheel has a tyre."""
        return 1.0 if any_stage(point, _has_tyre) else None

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        wheels = [point.launcher.stage(k).wheel for k in range(point.count)]
        return next((key for wheel in wheels if (key := unknown_turning_hold(wheel))), None)

    def remedy(self, point: OperatingPoint) -> str:
        """See Limit."""
        return f"bond or clamp the tyre of wheel {1 + worst(self._shares(point))}"

    def _shares(self, point: OperatingPoint) -> Floats:
        launcher, speed = point.launcher, point.fastest
        found: list[Number] = []
        for k in range(point.count):
            normal = peak_normal(launcher, k, speed[..., k])
            grip = peak_grip(launcher, k, speed[..., k])
            found.append(grip / turning_hold(launcher.stage(k).wheel, speed[..., k], normal))
        return stacked(found)


def worst(values: Floats) -> int:
    """Index of the stage with the greatest value, for an operating point without batch axes."""
    return int(np.argmax(values)) if np.size(values) else 0


def stacked(values: list[Number]) -> Floats:
    """Values of the stages on a last axis."""
    return np.stack(np.broadcast_arrays(*values), axis=-1) if values else np.zeros(0)


def _slower(what: str) -> Help:
    def text(point: OperatingPoint, stage: int, ceiling: float) -> str:
        return f"wheel {1 + stage} at {ceiling:.3g} m/s or less, or {what}"

    return text


def _keep_tyre(point: OperatingPoint, stage: int, ceiling: float) -> str:
    speed = float(point.fastest[stage]) if point.count else 0.0
    found = explain(point.launcher.stage(stage).wheel, speed)
    if found is None or found.failure is None or not found.changes:
        return f"wheel {1 + stage} at {ceiling:.3g} m/s or less" if np.isfinite(ceiling) else ""
    best = found.changes[0]
    return f"{found.failure.value} at {found.speed:.3g} m/s; {best.what} holds it to {best.speed:.3g} m/s"


def _has_tyre(stage: Stage) -> bool:
    return stage.wheel.tyre is not None


def _unknown_reach(launcher: Launcher, stage: Stage, speed: float) -> str | None:
    """An unknown no-load current can cost a share NO_LOAD of the speed that the motor reaches, and no more."""
    if launcher.supply is None:
        return "supply"
    known = stage.drive is None or stage.drive.no_load_known
    near = speed > (1 - NO_LOAD) * float(np.max(reach_ceiling(launcher, stage)))
    return "stage.drive.no_load_current" if near and not known else None


MOTOR_SPEED = SpeedShare(
    "motor_speed", motor_ceiling, _slower("a motor that may turn faster"),
    applies=lambda stage: stage.drive is not None and stage.drive.max_speed is not None,
    lacks=lambda launcher, stage, speed: None,
)  # fmt: skip
DRIVE_REACH = SpeedShare(
    "drive_reach", reach_ceiling, _slower("more volts or more speed per volt"),
    applies=lambda stage: stage.drive is not None,
    lacks=_unknown_reach,
)  # fmt: skip
BURST = SpeedShare(
    "burst", burst_ceiling, _slower("a hub of a lighter, stronger material"), applies=lambda stage: True,
    lacks=lambda launcher, stage, speed: unknown_burst(stage.wheel),
)  # fmt: skip
TYRE_RETENTION = SpeedShare(
    "tyre_retention", tyre_ceiling, _keep_tyre, applies=_has_tyre,
    lacks=lambda launcher, stage, speed: unknown_retention(stage.wheel, speed),
)  # fmt: skip
SHARES = (MOTOR_SPEED, DRIVE_REACH, BURST, TYRE_RETENTION)


def wheel_ceilings(launcher: Launcher, limit_values: LimitValues, index: int) -> dict[str, Number]:
    """Return the surface speed of stage `index` above which each limit on one wheel alone is broken [m/s].

    inf where there is no such limit, or where what it takes is not known.
    """
    stage = launcher.stage(index)
    found = {share.name: share.ceiling(launcher, stage) for share in SHARES}
    if limit_values.wheel_speed is not None:
        found["wheel_speed"] = limit_values.wheel_speed
    if limit_values.rim_safety is not None:
        found["rim_safety"] = allowable_speed(stage.wheel, limit_values.rim_safety)
    return found

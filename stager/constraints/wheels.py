"""Limits on how fast single wheels turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.constraints.design import Design
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.model.wish import Allowances
from stager.physics.loads import peak_grip, peak_normal
from stager.physics.reach import burst_ceiling, motor_ceiling, reach_ceiling, tyre_ceiling
from stager.physics.rotor import allowable_speed, rim_safety
from stager.physics.tyre import explain, turning_hold

Ceiling = Callable[[Launcher, Stage], Number]
Help = Callable[[Design, int, float], str]


@dataclass(frozen=True, slots=True)
class WheelSpeed:
    """The fastest wheel's surface speed, by the user's limit."""

    name: str = "wheel_speed"
    unit: str = "m/s"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """[m/s]."""
        return np.asarray(design.fastest.max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """[m/s]."""
        return design.allowances.wheel_speed

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"a slower wheel {1 + worst(design.fastest)}"


@dataclass(frozen=True, slots=True)
class SpeedShare:
    """Wheel speed as a share of what a part stands, the greatest over the stages."""

    name: str
    ceiling: Ceiling
    help: Help
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Greatest share [-]."""
        return np.asarray(self._shares(design).max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """1 where any stage's part is known."""
        return 1.0 if np.isfinite(self._ceilings(design)).any() else None

    def remedy(self, design: Design) -> str:
        """See Limit."""
        ceilings = np.broadcast_to(self._ceilings(design), design.fastest.shape)
        stage = worst(self._shares(design))
        return self.help(design, stage, float(ceilings[stage]))

    def _shares(self, design: Design) -> Floats:
        """Wheel speed by what the part stands, (..., stages); inf where it cannot turn at all."""
        ceilings = self._ceilings(design)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(design.fastest > 0, design.fastest / ceilings, 0.0))

    def _ceilings(self, design: Design) -> Floats:
        return stacked([self.ceiling(design.launcher, design.launcher.stage(k)) for k in range(design.count)])


@dataclass(frozen=True, slots=True)
class RimSafety:
    """Strength of the hub by its greatest stress, the least over the stages."""

    name: str = "rim_safety"
    unit: str = "-"
    floor: bool = True

    def used(self, design: Design) -> Number | None:
        """Least factor [-]; None where no hub's strength is known."""
        least = self._factors(design).min(axis=-1, initial=np.inf)
        return None if np.isinf(least).all() else least

    def allowed(self, design: Design) -> Number | None:
        """[-]."""
        return design.allowances.rim_safety

    def remedy(self, design: Design) -> str:
        """See Limit."""
        stage = worst(-self._factors(design))
        wheel = design.launcher.stage(stage).wheel
        most = float(allowable_speed(wheel, design.allowances.rim_safety or 1.0))
        return f"wheel {1 + stage} at {most:.3g} m/s or less, or of a lighter, stronger material"

    def _factors(self, design: Design) -> Floats:
        wheels = [design.launcher.stage(k).wheel for k in range(design.count)]
        return stacked([rim_safety(wheel, design.fastest[..., k]) for k, wheel in enumerate(wheels)])


@dataclass(frozen=True, slots=True)
class TyreTurning:
    """Peak grip as a share of what keeps a tyre from turning on its hub, the greatest over the stages."""

    name: str = "tyre_turning"
    unit: str = "-"
    floor: bool = False

    def used(self, design: Design) -> Number | None:
        """Greatest share [-]."""
        return np.asarray(self._shares(design).max(axis=-1, initial=0.0))

    def allowed(self, design: Design) -> Number | None:
        """1 where any tyre's hold is known."""
        return 1.0 if (self._shares(design) > 0).any() else None

    def remedy(self, design: Design) -> str:
        """See Limit."""
        return f"bond or clamp the tyre of wheel {1 + worst(self._shares(design))}"

    def _shares(self, design: Design) -> Floats:
        launcher, speed = design.launcher, design.fastest
        found: list[Number] = []
        for k in range(design.count):
            normal = peak_normal(launcher, k, speed[..., k])
            grip = peak_grip(launcher, k, speed[..., k])
            found.append(grip / turning_hold(launcher.stage(k).wheel, speed[..., k], normal))
        return stacked(found)


def worst(values: Floats) -> int:
    """Index of the stage with the greatest value, for a design without batch axes."""
    return int(np.argmax(values)) if np.size(values) else 0


def stacked(values: list[Number]) -> Floats:
    """Values of the stages on a last axis."""
    return np.stack(np.broadcast_arrays(*values), axis=-1) if values else np.zeros(0)


def _slower(what: str) -> Help:
    def text(design: Design, stage: int, ceiling: float) -> str:
        return f"wheel {1 + stage} at {ceiling:.3g} m/s or less, or {what}"

    return text


def _keep_tyre(design: Design, stage: int, ceiling: float) -> str:
    speed = float(design.fastest[stage]) if design.count else 0.0
    found = explain(design.launcher.stage(stage).wheel, speed)
    if found is None or not found.changes:
        return f"wheel {1 + stage} at {ceiling:.3g} m/s or less"
    best = found.changes[0]
    return f"{found.failure.value} at {found.speed:.3g} m/s; {best.what} holds it to {best.speed:.3g} m/s"


MOTOR_SPEED = SpeedShare("motor_speed", motor_ceiling, _slower("a motor that may turn faster"))
DRIVE_REACH = SpeedShare("drive_reach", reach_ceiling, _slower("more volts or more speed per volt"))
BURST = SpeedShare("burst", burst_ceiling, _slower("a hub of a lighter, stronger material"))
TYRE_RETENTION = SpeedShare("tyre_retention", tyre_ceiling, _keep_tyre)
SHARES = (MOTOR_SPEED, DRIVE_REACH, BURST, TYRE_RETENTION)


def wheel_ceilings(launcher: Launcher, allowances: Allowances, index: int) -> dict[str, Number]:
    """Greatest surface speed of stage `index` by each limit that looks at one wheel alone [m/s], inf where none."""
    stage = launcher.stage(index)
    found = {share.name: share.ceiling(launcher, stage) for share in SHARES}
    if allowances.wheel_speed is not None:
        found["wheel_speed"] = allowances.wheel_speed
    if allowances.rim_safety is not None:
        found["rim_safety"] = allowable_speed(stage.wheel, allowances.rim_safety)
    return found

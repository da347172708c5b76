"""Force of a driven wheel's motor within a contact, and limits of spin and wheel speed.

q = rΩ rises past max(q at the start, v so far) only while the wheel drives it forward, u > v cos φ + q, and a wheel is
faster than set only if the projectile has sped it up, against its motor. Since the last moment with u = U, energy has
not grown: at a first q above that maximum M u² ≤ M U² + m v² + 2 S, S the crush energy, hence
q² < U² + (m v² + 2 S)/M; then for the wheel M u² ≤ M U² + m v² + β m q² + 2 S. Backwards it is the same from the last
moment with u = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from stager.bounds.columns import CRUSH, LIGHT, MOTOR_SLOPE, SET_HIGH, SPIN_HIGH, SPIN_LOW, STALL, TURNING
from stager.model.arrays import Floats
from stager.model.stage import Stage
from stager.physics.air import windage
from stager.physics.compiled import inlined
from stager.physics.rotor import driven_inertia


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor, its torque as a force τ/R at the rim [N].

    slope: force for each speed lost [N s/m]; stall: force at the current limit [N] (inf: no limit); idling: force of
    the no-load current [N]; windage_of: the stage whose windage it overcomes, None without a motor; wheel_mass: M =
    J/R² [kg]. Without a motor forces are 0.
    """

    slope: float
    stall: float
    idling: float
    windage_of: Stage | None
    wheel_mass: float

    @property
    def coasts(self) -> bool:
        """Whether there is no motor."""
        return self.windage_of is None

    def holding(self, set_speed: Floats) -> Floats:
        """Return the force at the rim that holds `set_speed` [m/s] without a throw [N]; shape as given."""
        if self.windage_of is None:
            return np.zeros_like(set_speed)
        wheel = self.windage_of.wheel
        radius = float(wheel.radius)
        return np.asarray(self.idling + windage(wheel, set_speed / radius) / radius)


def motor_of(stage: Stage) -> Motor:
    """Return the motor on each driven wheel of `stage`."""
    radius = float(stage.wheel.radius)
    mass = float(driven_inertia(stage)) / radius**2
    drive = stage.drive
    if drive is None:
        return Motor(0.0, 0.0, 0.0, None, mass)
    pull = float(drive.gear * drive.torque_constant) / radius
    slope = pull * float(drive.gear) / (float(drive.speed_constant) * float(drive.resistance) * radius)
    return Motor(slope, pull * float(drive.current_limit), pull * float(drive.no_load_current), stage, mass)


@inlined
def motor_force(body: Any, lost: float, holding: float) -> Any:
    """Return a motor's force at the rim beyond `holding` [N], the force that holds the set speed.

    lost: speed lost from the set speed [m/s]. The force rises with `lost` and falls with `holding`.
    """
    return min(max(body[MOTOR_SLOPE] * lost, -holding), max(body[STALL] - holding, 0.0))


@inlined
def speed_ranges(body: Any, lane: Any, fastest: float) -> tuple[float, float, float, float]:
    """Return the least and greatest q, least and greatest u [m/s], where v has been up to `fastest` [m/s].

    SPIN_LOW, SPIN_HIGH of the lane: q at the start [m/s]; CRUSH: 2 S/m [m^2/s^2]; TURNING of the body: β, 0 for rods,
    where q is an idler's speed, from 0 to the projectile's; LIGHT: m/M of the lightest wheel.
    """
    high, light = lane[SET_HIGH], body[LIGHT]
    if body[TURNING] == 0.0:
        return 0.0, fastest, 0.0, max(high, fastest)
    given = light * (fastest * fastest + lane[CRUSH])
    back = min(lane[SPIN_LOW], -(fastest + sqrt(given)))
    around = max(max(lane[SPIN_HIGH], fastest), sqrt(high * high + given))
    wheel = sqrt(high * high + given + light * body[TURNING] * around * around)
    return back, around, back, min(wheel, max(high, fastest + around))

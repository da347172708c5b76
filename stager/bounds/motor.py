"""What a driven wheel's motor may add within a contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats
from stager.model.stage import Stage
from stager.physics.air import windage
from stager.physics.rotor import driven_inertia


@dataclass(frozen=True, slots=True)
class Motor:
    """Torque beyond what holds the set speed, as a force τ/R at the rim [N].

    slope a speed lost [N s/m]; stall: τ/R at the current limit without load [N] (inf: no limit);
    wheel_mass M = J/R² [kg]. Without a drive all are 0.
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
        """Force at the rim that holds `set_speed` [m/s] without a throw [N]; shape as given."""
        if self.windage_of is None:
            return np.zeros_like(set_speed)
        wheel = self.windage_of.wheel
        radius = float(wheel.radius)
        return np.asarray(self.idling + windage(wheel, set_speed / radius) / radius)

    def force(self, lost: Floats, holding: Floats) -> Floats:
        """Force [N] where the wheel has lost `lost` [m/s] from a speed that takes `holding` [N]: rises with the one,
        falls with the other."""
        if self.coasts:
            return np.zeros_like(lost)
        return np.minimum(np.maximum(self.slope * lost, -holding), np.maximum(self.stall - holding, 0.0))


def motor_of(stage: Stage) -> Motor:
    """The motor on each driven wheel of `stage`."""
    radius = float(stage.wheel.radius)
    mass = float(driven_inertia(stage)) / radius**2
    drive = stage.drive
    if drive is None:
        return Motor(0.0, 0.0, 0.0, None, mass)
    pull = float(drive.gear * drive.torque_constant) / radius
    slope = pull * float(drive.gear) / (float(drive.speed_constant) * float(drive.resistance) * radius)
    return Motor(slope, pull * float(drive.current_limit), pull * float(drive.no_load_current), stage, mass)

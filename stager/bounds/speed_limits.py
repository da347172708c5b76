"""What a driven wheel's motor may add within a contact, and what spin and wheels cannot exceed.

q = rΩ rises past max(q at the start, v so far) only while the wheel rubs it forward, u > v cos φ + q, and a wheel is
faster than set only if it has been sped up by the projectile, without its motor. Since the last moment with u = U,
energy has not grown: at a first q above the rest, M u² ≤ M U² + m v² + 2 S, S the crush energy, hence
q² < U² + (m v² + 2 S)/M; then for the wheel M u² ≤ M U² + m v² + β m q² + 2 S. Backwards likewise, from the last
moment with u = 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.bounds.normal_force import Press
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
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
        """Return the force at the rim that holds `set_speed` [m/s] without a throw [N]; shape as given."""
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
    """Return the motor on each driven wheel of `stage`."""
    radius = float(stage.wheel.radius)
    mass = float(driven_inertia(stage)) / radius**2
    drive = stage.drive
    if drive is None:
        return Motor(0.0, 0.0, 0.0, None, mass)
    pull = float(drive.gear * drive.torque_constant) / radius
    slope = pull * float(drive.gear) / (float(drive.speed_constant) * float(drive.resistance) * radius)
    return Motor(slope, pull * float(drive.current_limit), pull * float(drive.no_load_current), stage, mass)


@dataclass(frozen=True, slots=True)
class Reach:
    """spin_low, spin_high: q at the start [m/s]; set_high: greatest U [m/s]; light: m/M of the lightest wheel;
    inertia: β, 0 for what does not turn; crush: 2 S/m [m^2/s^2]."""

    spin_low: Floats
    spin_high: Floats
    set_high: Floats
    light: float
    inertia: float
    crush: Floats

    def at(self, fastest: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the least and greatest q, least and greatest u [m/s], where v has been up to `fastest` [m/s].

        What does not turn: q is an idler's speed, from 0 to the projectile's.
        """
        if self.inertia == 0.0:
            none = np.zeros_like(fastest)
            return none, fastest, none, np.maximum(self.set_high, fastest)
        given = self.light * (fastest**2 + self.crush)
        back = np.minimum(self.spin_low, -(fastest + np.sqrt(given)))
        around = np.maximum(np.maximum(self.spin_high, fastest), np.sqrt(self.set_high**2 + given))
        wheel = np.sqrt(self.set_high**2 + given + self.light * self.inertia * around**2)
        return back, around, back, np.minimum(wheel, np.maximum(self.set_high, fastest + around))


def reach_of(launcher: Launcher, stage: Stage, press: Press, lead: Floats, band: Floats, set_high: Floats) -> Reach:
    """For entries with Y = `lead` and z = `band` [m/s], each (2, lanes), upper ends first."""
    projectile = launcher.projectile
    mass = float(projectile.mass)
    sides = 2.0 if stage.layout.side_b_turns else 1.0
    inertia = projectile.shape.inertia_factor if projectile.shape.rolls else 0.0
    share = 1.0 / (1.0 + inertia)
    return Reach(
        share * (lead[1] - band[0]), share * (lead[0] - band[1]), set_high, mass / motor_of(stage).wheel_mass,
        inertia, 2.0 * sides * press.stored / mass,
    )  # fmt: skip

"""What spin and wheels cannot exceed within a contact, whatever the forces.

q = rΩ rises past max(q at the start, v so far) only while the wheel rubs it forward, u > v cos φ + q, and a wheel is
faster than set only if it has been sped up by the projectile, without its motor. Since the last moment with u = U,
energy has not grown: at a first q above the rest, M u² ≤ M U² + m v² + 2 S, S the crush energy, hence
q² < U² + (m v² + 2 S)/M; then for the wheel M u² ≤ M U² + m v² + β m q² + 2 S. Backwards likewise, from the last
moment with u = 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.bounds.motor import motor_of
from stager.bounds.press import Press
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Stage


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
        """Least and greatest q, least and greatest u [m/s], where v has been up to `fastest` [m/s].

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

"""Reference wheels, idlers and motors on both sides of a nip.

Conventions: the motor's torque counts beyond what holds the set speed,
τ = gear·Kt·(clip(I_set + gear (ω_set − ω)/(Kv R_w), 0, I_lim) − I_set), I_set = no-load current + windage at the
set speed/(gear·Kt), I_lim = max(controller's limit, I_set). Each wheel of a pair has its own motor, an idler none;
without a drive it is 0, and whether the controller governs makes no difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from stager.model.stage import Stage
from stager.physics.air import windage
from tests.oracle.nips import rotating_inertia


@dataclass(frozen=True)
class Spinner:
    """A wheel at radius [m] and of inertia [kg m^2] (inf: does not turn); motor: gain [N m s], stall and idle [N m].

    Torque beyond what holds `held` [rad/s]: gain·(held − ω), not below −idle, not above stall − idle.
    """

    radius: float
    inertia: float
    held: float = 0.0
    gain: float = 0.0
    idle: float = 0.0
    stall: float = inf

    def torque(self, speed: float) -> float:
        """Return the motor torque [N m] at surface speed `speed` [m/s]."""
        if self.gain == 0.0:
            return 0.0
        return min(max(self.gain * (self.held - speed / self.radius), -self.idle), self.stall - self.idle)

    def change(self, speed: float, friction: float) -> float:
        """Return du/dt [m/s^2] under the friction force [N] on the projectile."""
        return self.radius * (self.torque(speed) - self.radius * friction) / self.inertia


FIXED = Spinner(1.0, inf)


def driven(stage: Stage, speed: float) -> Spinner:
    """Return a wheel of `stage` set to `speed` [m/s]."""
    radius, inertia, drive = stage.wheel.radius, rotating_inertia(stage.wheel), stage.drive
    if drive is None:
        return Spinner(radius, inertia)
    held = speed / radius
    per_ampere = drive.gear / drive.speed_constant
    current = drive.no_load_current + float(windage(stage.wheel, held)) / per_ampere
    gain = per_ampere * drive.gear / (drive.speed_constant * drive.resistance)
    stall = per_ampere * max(drive.current_limit, current)
    return Spinner(
        radius, inertia + drive.rotor_inertia * drive.gear**2, held, gain, per_ampere * current, stall
    )  # fmt: skip


def sides(stage: Stage, speed: float, speed_b: float) -> tuple[Spinner, Spinner]:
    """Return sides A and B of `stage`."""
    side_a = driven(stage, speed)
    if stage.layout.side_b_driven:
        return side_a, driven(stage, speed_b)
    if stage.layout.side_b_turns:
        return side_a, Spinner(stage.wheel.radius, float(stage.idler_inertia or 0.0))
    return side_a, FIXED

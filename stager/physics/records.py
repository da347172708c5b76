"""What a transit and a throw leave behind."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

SAME = 1e-3


class Grip(IntEnum):
    """How a contact went. SYNC: |s_A| came down to 3 × creep or less while in contact."""

    SYNC = 0
    SLIP = 1
    JAM = 2
    NOT_REACHED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Transit:
    """Contact with one stage, or, with a last axis over the stages, with each of a chain.

    Every field has the batch's shape. Speeds, slips [m/s]; spins [rad/s]; time [s]; works, heat, losses [J];
    acceleration [m/s^2]; power [W]. `wheel_speed_*`: surface speed at the start, `wheel_speed_after_*`: at the end.
    Side B's are 0 on a rail. After a jam `exit_speed` is 0 and the sums are what had gathered when the projectile
    stopped; a stage behind a jam is NOT_REACHED and all 0.
    wheel_work: ∫F·u dt of each side; slip_heat: ∫F·s dt of each side; crush_loss: energy lost in crushing;
    motor_work: mechanical work of the motors on both wheels' during the contact, above what holds the set speed.
    """

    wheel_speed_a: Floats
    wheel_speed_b: Floats
    entry_speed: Floats
    exit_speed: Floats
    entry_spin: Floats
    exit_spin: Floats
    wheel_speed_after_a: Floats
    wheel_speed_after_b: Floats
    slip_at_exit: Floats
    least_slip: Floats
    grip: NDArray[np.int8]
    contact_time: Floats
    wheel_work_a: Floats
    wheel_work_b: Floats
    slip_heat_a: Floats
    slip_heat_b: Floats
    crush_loss: Floats
    motor_work: Floats
    peak_acceleration: Floats
    peak_slip_power: Floats

    @property
    def jammed(self) -> NDArray[np.bool_]:
        """True where the projectile did not get through."""
        return self.grip >= Grip.JAM

    @property
    def spin_stays(self) -> NDArray[np.bool_]:
        """Where the projectile leaves with the spin it came with, to a thousandth."""
        return np.asarray(np.abs(self.exit_spin - self.entry_spin) <= SAME * np.abs(self.exit_spin))

    @property
    def a_leads(self) -> NDArray[np.bool_]:
        """Where side A leads: it drives the spin forward as it changes, or is the faster where that stays."""
        faster = self.wheel_speed_a >= self.wheel_speed_b
        return np.where(self.spin_stays, faster, self.exit_spin > self.entry_spin)

    @property
    def wheel_work(self) -> Floats:
        """Work of both wheels [J]; an idler's share is negative."""
        return self.wheel_work_a + self.wheel_work_b

    @property
    def slip_heat(self) -> Floats:
        """Heat of both sides [J]."""
        return self.slip_heat_a + self.slip_heat_b


FIELDS = tuple(field.name for field in fields(Transit))
"""Names of what a transit leaves."""


def blank(*shape: int) -> Transit:
    """Return records of stages that were not reached, fields of the given shape."""
    values = {name: np.zeros(shape) for name in FIELDS}
    values["grip"] = np.full(shape, Grip.NOT_REACHED, np.int8)
    return Transit(**values)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class Throw:
    """One throw through a chain: `stages` has a last axis over the stages, the rest the batch's shape.

    exit_speed [m/s] and spin [rad/s] of the projectile as it leaves the launcher (0 after a jam).
    """

    stages: Transit
    exit_speed: Floats
    spin: Floats
    jammed: NDArray[np.bool_]

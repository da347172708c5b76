"""Results of a transit through a stage and of a throw through a chain."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats

SAME_SPIN = 1e-3
"""Relative change up to which the spin counts as unchanged [-]."""


class Grip(IntEnum):
    """Outcome of a contact; SYNC: the slip of side A fell to 3 × creep or less while in contact."""

    SYNC = 0
    SLIP = 1
    JAM = 2
    NOT_REACHED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Transit:
    """Contact with one stage or, with a last axis over the stages, with each stage of a chain.

    Every field has the batch's shape. Side B's are 0 on a rail. After a jam exit_speed is 0 and the sums are those up
    to the standstill; a stage behind a jam is NOT_REACHED and all its fields are 0.

    wheel_speed, wheel_speed_after: surface speed of each side at the start and at the end [m/s]
    entry_speed, exit_speed [m/s]; entry_spin, exit_spin [rad/s]: of the projectile
    slip_at_exit, least_slip: of side A, at the end and the least absolute one [m/s]
    contact_time [s]
    wheel_work: ∫F·u dt of each side [J]; slip_heat: ∫F·s dt of each side [J]
    crush_loss: energy lost by compression and release [J]
    motor_work: mechanical work of the motors during the contact, above that which holds the set speed [J]
    peak_acceleration: along the barrel [m/s^2]; peak_slip_power: of both sides [W]
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
        """Whether the projectile did not get through."""
        return self.grip >= Grip.JAM

    @property
    def spin_stays(self) -> NDArray[np.bool_]:
        """Whether the projectile leaves with its entry spin, to SAME_SPIN."""
        return np.asarray(np.abs(self.exit_spin - self.entry_spin) <= SAME_SPIN * np.abs(self.exit_spin))

    @property
    def a_leads(self) -> NDArray[np.bool_]:
        """Whether side A leads: it drives the change of spin, or is the faster side where the spin stays."""
        faster = self.wheel_speed_a >= self.wheel_speed_b
        return np.where(self.spin_stays, faster, self.exit_spin > self.entry_spin)

    @property
    def wheel_work(self) -> Floats:
        """Return the work of both wheels [J]; that of an idler is negative."""
        return self.wheel_work_a + self.wheel_work_b

    @property
    def slip_heat(self) -> Floats:
        """Return the slip heat of both sides [J]."""
        return self.slip_heat_a + self.slip_heat_b


FIELDS = tuple(field.name for field in fields(Transit))
"""Names of the fields of a transit."""


def blank(*shape: int) -> Transit:
    """Return a transit of stages that were not reached, its fields of the given shape."""
    values = {name: np.zeros(shape) for name in FIELDS}
    values["grip"] = np.full(shape, Grip.NOT_REACHED, np.int8)
    return Transit(**values)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class Throw:
    """One throw through a chain: fields of `stages` have a last axis over the stages, the others the batch's shape.

    exit_speed [m/s], spin [rad/s]: of the projectile behind the last wheel; 0 after a jam
    """

    stages: Transit
    exit_speed: Floats
    spin: Floats
    jammed: NDArray[np.bool_]

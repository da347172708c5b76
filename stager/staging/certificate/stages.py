"""Which bound serves which stage."""

from __future__ import annotations

import numpy as np

from stager.hardware.launcher import Launcher
from stager.hardware.stage import Stage
from stager.staging.certificate.even import EvenRun
from stager.staging.certificate.extremes import STOPPED
from stager.staging.certificate.march import march
from stager.staging.certificate.motor import motor_of
from stager.staging.certificate.press import press_between
from stager.staging.certificate.records import ENTRY, WHEEL, Cells, Enclose, Enclosed
from stager.staging.certificate.traction import Traction


def enclosure(launcher: Launcher, stage: Stage) -> Enclose | None:
    """Where cells leave `stage`; None where no theorem is at hand."""
    if stage.layout.side_b_driven:
        return even_pair(launcher, stage, Traction(launcher.contact.friction, float(launcher.contact.creep)))
    return None


def even_pair(launcher: Launcher, stage: Stage, traction: Traction) -> Enclose:
    """A pair of equal wheels; the projectile does not spin."""
    motor = motor_of(stage)

    def enclose(cells: Cells, steps: int) -> Enclosed:
        entry, wheel = cells.high[ENTRY], (cells.low[WHEEL], cells.high[WHEEL])
        run = EvenRun(
            float(launcher.projectile.mass), motor.wheel_mass, traction, motor,
            press_between(launcher, stage, *wheel), *wheel,
            entry.copy(), np.zeros_like(entry), np.zeros(entry.shape, bool), np.full(entry.shape, -np.inf),
        )  # fmt: skip
        ends = np.stack([entry, cells.low[ENTRY]])
        state = march(run, np.concatenate([ends**2, run.ratio * ends]), steps)
        jams = run.dip < -STOPPED * np.maximum(entry, wheel[1]) ** 2
        high = np.where(jams, 0.0, np.sqrt(state[0]))
        low = np.where(run.stalls, 0.0, np.minimum(np.sqrt(state[1]), high))
        none = np.zeros_like(high)
        return Enclosed(low, high, low, high, none, none, run.strain)

    return enclose

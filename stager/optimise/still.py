"""Throws that are none: what is built, and what only the set speeds decide, can be judged on them."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from stager.model.arrays import Floats
from stager.physics.records import Throw, Transit, blank


def idle(count: int) -> Throw:
    """No throw at all, through `count` stages: what is built can be judged on it."""
    still = np.zeros(())
    return Throw(stages=blank(count), exit_speed=still, spin=still, jammed=np.zeros((), bool))


def still(wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Throw:
    """No throw, but wheels set to `wheel_speed` [m/s], shape (..., stages), side B's to another where given: what only
    they decide can be judged."""
    other = wheel_speed if wheel_speed_b is None else wheel_speed_b
    none = blank(*wheel_speed.shape)
    values = {field.name: getattr(none, field.name) for field in fields(Transit)}
    stages = Transit(**{**values, "wheel_speed_a": wheel_speed, "wheel_speed_b": other})
    nothing = np.zeros(wheel_speed.shape[:-1])
    return Throw(stages=stages, exit_speed=nothing, spin=nothing, jammed=nothing > 0)

"""The sides of a nip: which there are, what drives them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stager.model.arrays import Floats
from stager.model.contact import Contact, FrictionLaw
from stager.model.stage import Stage
from stager.physics.inertia import driven_inertia
from stager.physics.transit.sides import Sides
from stager.physics.windage import windage


def _still() -> Floats:
    return np.zeros(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One side in lanes; fields as in Sides. At rest and without a drive unless said otherwise."""

    law: FrictionLaw
    weight: float = 1.0
    turn: float
    rail: bool = False
    level: bool = False
    radius: Floats
    inverse_inertia: Floats = field(default_factory=_still)
    set_speed: Floats = field(default_factory=_still)
    held_speed: Floats = field(default_factory=_still)
    motor_slope: Floats = field(default_factory=_still)
    torque_low: Floats = field(default_factory=_still)
    torque_high: Floats = field(default_factory=_still)


def build_sides(
    contact: Contact,
    stage: Stage,
    rolls: bool,
    side_a: tuple[Floats, Floats],
    side_b: tuple[Floats, Floats],
    *,
    mirrored: bool,
) -> tuple[Side, ...]:
    """Side A and, unless it mirrors A, side B, from their speeds and held speeds [m/s], shapes (lanes,) or (1,).

    Motor in the contact: the throttle would hold the held speed against no-load current and windage; as the wheel
    slows the current rises along the motor's line, from 0 up to the controller's limit. A governor is too slow to act.
    """
    turn = 1.0 if rolls and not mirrored else 0.0
    driven = _driven(contact.friction, stage, side_a, turn, 2.0 if mirrored else 1.0)
    if mirrored:
        return (driven,)
    layout = stage.layout
    if layout.side_b_driven:
        return driven, _driven(contact.friction, stage, side_b, -turn, 1.0)
    radius = driven.radius
    if layout.side_b_turns:
        if stage.idler_inertia is None:
            raise ValueError("an idler needs its inertia")
        inverse = np.atleast_1d(1 / np.asarray(stage.idler_inertia, dtype=np.float64))
        return driven, Side(law=contact.friction, turn=-turn, radius=radius, inverse_inertia=inverse)
    return driven, Side(law=contact.rail_friction, turn=-turn, rail=rolls, level=True, radius=radius)


def _driven(law: FrictionLaw, stage: Stage, speeds: tuple[Floats, Floats], turn: float, weight: float) -> Side:
    wheel, drive = stage.wheel, stage.drive
    radius = np.atleast_1d(np.asarray(wheel.radius, dtype=np.float64))
    slope = low = high = _still()
    if drive is not None:
        pull = drive.gear * drive.torque_constant
        holding = drive.no_load_current + windage(wheel, speeds[1] / radius) / pull
        slope = np.atleast_1d(pull * drive.gear / (drive.speed_constant * drive.resistance * radius))
        low = -pull * holding
        high = pull * np.maximum(drive.current_limit - holding, 0.0)
    inertia = np.atleast_1d(np.asarray(driven_inertia(stage), dtype=np.float64))
    return Side(
        law=law, weight=weight, turn=turn, radius=radius, inverse_inertia=1 / inertia, set_speed=speeds[0],
        held_speed=speeds[1], motor_slope=slope, torque_low=low, torque_high=high,
    )  # fmt: skip


def join(nips: tuple[tuple[Side, ...], ...], creep: Floats) -> Sides:
    """All sides of all nips that act together."""
    flat = [side for nip in nips for side in nip]

    def rows(name: str) -> Floats:
        values = [getattr(side, name) for side in flat]
        if len({value.shape for value in values}) > 1:
            values = list(np.broadcast_arrays(*values))
        return np.array(values)

    return Sides(
        laws=tuple(side.law for side in flat),
        creep=creep,
        weight=flat[0].weight,
        turn=tuple(side.turn for side in flat),
        rail=tuple(side.rail for side in flat),
        level=tuple(side.level for side in flat),
        nip=tuple(number for number, nip in enumerate(nips) for _ in nip),
        radius=rows("radius"),
        inverse_inertia=rows("inverse_inertia"),
        set_speed=rows("set_speed"),
        held_speed=rows("held_speed"),
        motor_slope=rows("motor_slope"),
        torque_low=rows("torque_low"),
        torque_high=rows("torque_high"),
    )
